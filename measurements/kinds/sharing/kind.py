"""Declaration of the kind: columns, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Kind, Metric
from measurements.kinds.sharing.checks import check
from measurements.kinds.sharing.compute import measure
from measurements.kinds.sharing.plan import plan

COLUMNS = (
    Column(
        name="combination",
        title="Ports in use",
        unit="",
        aliases=("combination", "ports in use", "used ports", "plugged ports", "plug order"),
        type="text",
    ),
    Column(
        name="port",
        title="Port",
        unit="",
        aliases=("port", "output port", "receptacle"),
        type="text",
    ),
    Column(
        name="voltage_v",
        title="Voltage at the port",
        unit="V",
        aliases=("voltage", "v", "u", "output voltage", "v out", "vout", "vbus", "spannung"),
    ),
    Column(
        name="current_a",
        title="Current at the port",
        unit="A",
        aliases=("current", "i", "output current", "i out", "iout", "ibus", "strom"),
    ),
    Column(
        name="input_power_w",
        title="Input power",
        unit="W",
        required=False,
        aliases=("input power", "p in", "pin", "ac power", "mains power"),
    ),
)

METRICS = (
    Metric(
        key="sharing-total",
        title="Highest power of all ports together",
        unit="W",
        better="higher",
        condition=(),
        definition=(
            "Highest sum of the powers of ports in use at the same time, over all measured "
            "combinations of two or more ports in every order of plugging in. A combination "
            "counts when each of its ports was measured."
        ),
        formula="max over the combinations of Σ V · I of their ports",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="sharing-kept",
        title="Rated power kept with several ports in use",
        unit="%",
        better="higher",
        condition=(),
        definition=(
            "The highest power of all ports together over the rated power of the adapter, as the "
            "catalogue gives it."
        ),
        formula="100 · sharing-total / P_rated",
        source="common-practice",
        decimals=1,
    ),
)

CAUTIONS = (
    "All ports at full load make adapter, cables and loads hot: stay with the test, keep the air "
    "free, and let everything cool before touching it.",
    "The ports of one adapter usually have one common negative. Loads or meters that tie their "
    "negative to protective earth, or to each other, carry current past the ammeter: use isolated "
    "or battery-powered instruments, and never an earthed probe.",
    "Where the input power is measured, use a metered socket or an enclosed break-out box, never "
    "open wiring, and leave any work on mains wiring to licensed people under local codes.",
    "A claim that was met or not met is an indication from one unit on one bench, never a "
    "certification.",
)

KIND = Kind(
    slug="sharing",
    title="Power sharing",
    summary=(
        "Power at every port while several are in use: what all give together, and which port "
        "loses power when another is plugged in."
    ),
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("output_voltage", "output_current", "input_power"),
    cautions=CAUTIONS,
    needs_mains=False,
    plan=plan,
)
