"""What a no-load run is: its columns, its metrics, and its cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Kind, Metric
from measurements.kinds.no_load.checks import check
from measurements.kinds.no_load.compute import HOURS_PER_YEAR, measure
from measurements.kinds.no_load.plan import plan

# What is below zero is for the check, which knows how far a meter wanders. More than a kilowatt
# is another quantity or another unit. The project's own bound.
HIGHEST_POWER_W = 1000.0

# Room for seconds since 1970, as loggers write them.
LONGEST_TIME_S = 1e10

METRICS = (
    Metric(
        key="no-load-power",
        title="Standby power",
        unit="W",
        better="lower",
        condition=("line",),
        definition=(
            "Mean input power over the last two thirds of a record of at least 15 minutes with "
            "nothing connected to the adapter: the sampling method of IEC 62301:2011, whose "
            "numbers are not verified against the published text."
        ),
        formula="P = mean of P_in(t) for t ≥ T/3; u² = u_instrument² + (s/√n)²",
        source="iec-62301",
        decimals=4,
    ),
    Metric(
        key="no-load-energy",
        title="Standby energy",
        unit="kWh/a",
        better="lower",
        condition=("line",),
        definition="Energy that the standby power adds up to in a year of 8760 hours.",
        formula=f"E = P · {HOURS_PER_YEAR} h / 1000",
        source="common-practice",
        decimals=2,
    ),
)

KIND = Kind(
    slug="no-load",
    title="Standby",
    summary="Input power with nothing connected, over at least 15 minutes.",
    columns=(
        Column(
            "time_s",
            "Time",
            "s",
            required=False,
            aliases=("time", "t", "elapsed", "elapsed time", "zeit"),
            minimum=-LONGEST_TIME_S,
            maximum=LONGEST_TIME_S,
        ),
        Column(
            "input_power_w",
            "Input power",
            "W",
            aliases=("power", "p", "p in", "input power", "active power", "leistung"),
            maximum=HIGHEST_POWER_W,
        ),
        Column(
            "input_voltage_v",
            "Input voltage",
            "V",
            required=False,
            aliases=("voltage", "u", "v in", "mains voltage", "spannung"),
            minimum=0,
            maximum=300,
        ),
        Column(
            "input_current_a",
            "Input current",
            "A",
            required=False,
            aliases=("current", "i", "i in", "strom"),
            minimum=0,
            maximum=20,
        ),
        Column(
            "power_factor",
            "Power factor",
            "",
            required=False,
            aliases=("pf", "power factor", "leistungsfaktor"),
            minimum=-1,
            maximum=1,
        ),
    ),
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("input_power",),
    cautions=(
        "Mains voltage kills. Measure with a meter made for a plug-in connection or an enclosed "
        "adapter box; anything that opens the mains circuit is work for a licensed person, under "
        "the electrical code of the place.",
        "Do not connect an earthed oscilloscope probe to the mains side: its earth clip is a short "
        "circuit to the house wiring.",
        "Never open an adapter. Its capacitors hold a dangerous charge after it is unplugged.",
        "Do not leave an adapter that smells, hums or grows hot without load; unplug it at the "
        "wall.",
    ),
    plan=plan,
)
