"""What a scan of ports is: its columns, its metrics, and its cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Kind, Metric
from measurements.kinds.port_scan.checks import check
from measurements.kinds.port_scan.compute import measure
from measurements.kinds.port_scan.plan import plan

METRICS = (
    Metric(
        key="top-pdo-power",
        title="Highest power advertised",
        unit="W",
        better="higher",
        condition=("port",),
        definition=(
            "Highest power that any power data object of the port allows, as the port sent it; "
            "what it says, not what it was seen to deliver. A power-limited programmable supply "
            "counts with no more than the largest voltage times current of the fixed ones."
        ),
        formula="P = max over the objects of V_max · I_max, or of the power that an object states",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="profile-count",
        title="Profiles advertised",
        unit="1",
        better="",
        condition=("port",),
        definition=(
            "Number of power data objects that offer something; padding and types without meaning "
            "do not count. Without any, 0; a port whose words were not read has no such value."
        ),
        formula="n = number of objects that are neither padding nor reserved",
        source="common-practice",
        decimals=0,
        ranked=False,
    ),
    Metric(
        key="protocol-count",
        title="Protocols found",
        unit="1",
        better="",
        condition=("port",),
        definition=(
            "Number of charging protocols that were found on a port beside its power data objects."
        ),
        formula="n = number of protocols listed for the port",
        source="common-practice",
        decimals=0,
        ranked=False,
    ),
)

KIND = Kind(
    slug="port-scan",
    title="Port scan",
    summary="The power data objects and protocols that every port advertises.",
    columns=(
        Column(
            "port", "Port", "", aliases=("output", "socket", "connector", "anschluss"), type="text"
        ),
        Column(
            "position",
            "Position",
            "",
            required=False,
            aliases=("object position", "object", "pos", "index"),
        ),
        Column(
            "word",
            "Word",
            "",
            required=False,
            aliases=("pdo", "power data object", "raw", "hex", "word (hex)", "word [hex]"),
            type="text",
        ),
        Column(
            "protocol",
            "Protocol",
            "",
            required=False,
            aliases=("charging protocol", "protokoll"),
            type="text",
        ),
    ),
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=(),
    cautions=(
        "Scan with a sink tester or analyser that is made for USB Power Delivery. A home-made sink "
        "can ask for a voltage that destroys whatever else is connected.",
        "Extended range means 28 to 48 V at up to 5 A on a USB-C lead: use a cable and a tester "
        "marked for it, connect and disconnect without load, and let nothing metallic lie near "
        "open contacts.",
        "The adapter hangs on the mains while it is scanned. Probe its USB side only, never open "
        "it, and leave work on the mains side to a licensed person under the electrical code of "
        "the place.",
    ),
    needs_mains=False,
    plan=plan,
)
