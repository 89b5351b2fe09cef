"""Declaration of the kind: columns, fields, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Field, Kind, Metric, ValueMap
from measurements.kinds.charge.checks import check
from measurements.kinds.charge.compute import measure
from measurements.kinds.charge.plan import plan
from measurements.kinds.charge.remarks import QUANTITIES

COLUMNS = (
    Column(
        name="time_s",
        title="Time",
        unit="s",
        aliases=("time", "t", "elapsed", "elapsed time", "zeit"),
    ),
    Column(
        name="voltage_v",
        title="Voltage into the device",
        unit="V",
        aliases=("voltage", "output voltage", "u", "v out", "vbus", "bus voltage", "spannung"),
        minimum=0.0,
        maximum=60.0,
    ),
    Column(
        name="current_a",
        title="Current into the device",
        unit="A",
        aliases=("current", "output current", "i", "i out", "ibus", "bus current", "strom"),
        minimum=-20.0,
        maximum=20.0,
    ),
    Column(
        name="battery_percent",
        title="Battery level",
        unit="%",
        required=False,
        aliases=("battery", "battery level", "level", "state of charge", "soc", "ladestand"),
        minimum=0.0,
        maximum=100.0,
    ),
    # USB meters log the power that they show. Without a column of its own it would be taken for
    # the input power, by its unit alone.
    Column(
        name="output_power_w",
        title="Power into the device",
        unit="W",
        required=False,
        aliases=("power", "output power", "p", "p out", "leistung"),
        minimum=-1200.0,
        maximum=1200.0,
    ),
    Column(
        name="input_power_w",
        title="Input power",
        unit="W",
        required=False,
        aliases=("input power", "p in", "mains power", "wall power"),
        minimum=-1.0,
        maximum=1000.0,
    ),
)

FIELDS = (
    Field(
        name="device",
        title="Device",
        help="The reference device of the catalogue that was charged.",
        type="device",
        required=True,
    ),
)

_START = (
    "Counted from the first reading above 0.5 W to the first crossing of the level, interpolated "
    "linearly between its readings. Without a battery level, the share of all charge delivered "
    "until the current stays below 5 % of its peak."
)
_COMPARABLE = "Comparable only from a start at 5 % or less (this project's own rule)."
_FROM_EMPTY = (
    "It is meant from empty: the level at the start counts as an uncertainty and not as a "
    "correction."
)


def _milestone(key: str, *, title: str, level: str) -> Metric:
    return Metric(
        key=key,
        title=title,
        unit="min",
        better="lower",
        condition=("device",),
        definition=f"Time to {level}. {_START} {_COMPARABLE} {_FROM_EMPTY}",
        formula="t(first level ≥ target) − t(first P > 0.5 W)",
        source="common-practice",
        decimals=1,
    )


METRICS = (
    _milestone("charge-to-20", title="Time to 20 %", level="20 %"),
    _milestone("charge-to-50", title="Time to 50 %", level="50 %"),
    _milestone("charge-to-80", title="Time to 80 %", level="80 %"),
    _milestone("charge-to-full", title="Time to full", level="the first 100 %"),
    Metric(
        key="charge-energy",
        title="Energy into the device",
        unit="Wh",
        better="",
        condition=("device",),
        definition=(
            "Trapezoid over the real time stamps of the whole log, without its gaps. It tells of "
            "the device rather than of the adapter, so it is not ranked."
        ),
        formula="E = ∫ V · I dt",
        source="common-practice",
        decimals=2,
        ranked=False,
    ),
    Metric(
        key="charge-delivered",
        title="Charge into the device",
        unit="Ah",
        better="",
        condition=("device",),
        definition=(
            "Trapezoid over the whole log, without its gaps, at whatever voltage the port had; "
            "not the capacity of the battery, and not ranked."
        ),
        formula="Q = ∫ I dt",
        source="common-practice",
        decimals=3,
        ranked=False,
    ),
    Metric(
        key="charge-peak-power",
        title="Peak charging power",
        unit="W",
        better="higher",
        condition=("device",),
        definition=(
            "Highest median of the power over any 10 s of the log, so that a spike of a few "
            "seconds does not count."
        ),
        formula="max over t of median P(t − 10 s … t)",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="charge-mean-power",
        title="Mean charging power",
        unit="W",
        better="higher",
        condition=("device",),
        definition=(
            "Energy over the time from the first to the last reading above 0.5 W, gaps left out "
            "of both. Comparable only from a start at 5 % or less to an end at 95 % or more, "
            "where the levels are known (this project's own rule)."
        ),
        formula="P = ∫ V · I dt / (t_last − t_first)",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="charge-stages",
        title="Stages of constant power",
        unit="1",
        better="",
        condition=("device",),
        definition=(
            "Number of stretches of constant power that change-point detection finds until the "
            "device is full: a minute or longer, apart by 1 W or 3 %, without what leads to them "
            "within a minute. Neither many nor few are better, so it is not ranked."
        ),
        formula="least squared deviations from piecewise constants, with a penalty for each change",
        source="common-practice",
        decimals=0,
        ranked=False,
    ),
    Metric(
        key="wall-to-device-efficiency",
        title="Efficiency from wall to device",
        unit="%",
        better="higher",
        condition=("line", "device"),
        definition=(
            "Energy into the device over energy from the mains during the charge, over the "
            f"intervals with both. It covers adapter and cable, not the charger in the device. "
            f"{_COMPARABLE} Without a stated mains voltage it is listed apart."
        ),
        formula="η = ∫ V · I dt / ∫ P_in dt",
        source="common-practice",
        decimals=2,
    ),
)

CAUTIONS = (
    "A battery that swells, smells or grows hot burns: unplug it, leave it alone and go. Charge on "
    "a surface that does not burn, and never leave a charge unattended or asleep.",
    "Use a meter that goes between adapter and cable. Never open a device, a battery or an adapter "
    "to measure inside.",
    "Mains voltage kills: measure input power only with a plug-in meter. Work on mains wiring "
    "belongs to licensed people under the electrical code of the place.",
    "A meter or oscilloscope that is earthed may short the output to earth through another device; "
    "use one that runs on its own battery, or measure differentially.",
)

KIND = Kind(
    slug="charge",
    title="Charging",
    summary="A reference device charged from empty to full: times, energy, power and stages.",
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=QUANTITIES,
    cautions=CAUTIONS,
    fields=FIELDS,
    needs_mains=False,
    plan=plan,
    maps=(
        ValueMap(
            title="Charging by device",
            metrics=(
                "charge-to-20",
                "charge-to-50",
                "charge-to-80",
                "charge-to-full",
                "charge-peak-power",
                "charge-mean-power",
            ),
            rows="device",
        ),
    ),
)
