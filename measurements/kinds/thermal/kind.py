"""Declaration of the kind: columns, fields, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Field, Kind, Metric
from measurements.kinds.thermal.checks import check
from measurements.kinds.thermal.compute import measure
from measurements.kinds.thermal.plan import plan

COLUMNS = (
    Column(
        name="time_s",
        title="Time",
        unit="s",
        aliases=("time", "elapsed", "elapsed time", "t"),
    ),
    Column(
        name="ambient_c",
        title="Ambient temperature",
        unit="degC",
        required=False,
        aliases=("ambient", "ambient temperature", "room", "room temperature", "t amb"),
        minimum=-40.0,
        maximum=85.0,
    ),
    Column(
        name="output_power_w",
        title="Output power",
        unit="W",
        required=False,
        aliases=("output power", "p out", "pout", "load power", "dc power", "power out"),
        maximum=1000.0,
    ),
    Column(
        name="*_c",
        title="Surface temperature of a sensor",
        unit="degC",
        minimum=-40.0,
        maximum=250.0,
    ),
)

FIELDS = (
    Field(
        name="materials",
        title="Materials under the sensors",
        help=(
            'Sensor to metal, glass, plastic or wood, as JSON: {"top": "plastic", "prongs": '
            '"metal"}. A sensor that is not named has the material of the enclosure.'
        ),
        type="json",
    ),
)

METRICS = (
    Metric(
        key="surface-temperature",
        title="Highest surface temperature",
        unit="°C",
        better="lower",
        condition=("line",),
        definition=(
            "Highest reading of any sensor in the record; also given for each sensor. Comparable "
            "only at an ambient of 25 ± 2 °C."
        ),
        formula="max T",
        source="iec-62368-1",
        decimals=1,
    ),
    Metric(
        key="temperature-rise",
        title="Temperature rise",
        unit="K",
        better="lower",
        condition=("line",),
        definition=(
            "Highest difference between a sensor and the ambient of the same row, or the ambient "
            "of the form where the record has none."
        ),
        formula="max (T − T_ambient)",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="settled-temperature",
        title="Settled temperature",
        unit="°C",
        better="lower",
        condition=("line", "sensor"),
        definition=(
            "Temperature that the curve fitted to a sensor's record approaches. The curve starts "
            "at the mean ambient with the record's first row."
        ),
        formula="T_ambient + ΔT of the fit T(t) = T_ambient + ΔT · (1 − exp(−t/τ))",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="time-constant",
        title="Thermal time constant",
        unit="min",
        better="",
        condition=("line", "sensor"),
        definition=(
            "Time after which a sensor has made 63.2 % of its way from ambient to its settled "
            "temperature, by the same fit. Neither long nor short is better, so it is not ranked."
        ),
        formula="τ of the fit T(t) = T_ambient + ΔT · (1 − exp(−t/τ))",
        source="common-practice",
        decimals=1,
        ranked=False,
    ),
    Metric(
        key="final-slope",
        title="Slope of the last ten minutes",
        unit="K/h",
        better="",
        condition=("line", "sensor"),
        definition=(
            "Slope of the straight line through a sensor's last ten minutes: how far the record "
            "is from settled. Less than a kelvin in ten minutes, 6 K/h, commonly counts as settled "
            "(common practice). It describes the record, so it is not ranked."
        ),
        formula="b of the least-squares line T = a + b · t over the last 10 min",
        source="common-practice",
        decimals=2,
        ranked=False,
    ),
    Metric(
        key="throttle-onset",
        title="Onset of reduced output",
        unit="min",
        better="higher",
        condition=("line",),
        definition=(
            "Time from switching the load on until the output power falls below 95 % of its first "
            "level, the median of the first two minutes, and stays there for 60 s or more. Given "
            "only when that happens, so it is not ranked: an adapter without it is the better one."
        ),
        formula="first t with P < 0.95 · median(P, first 2 min) over 60 s or more, minus t_on",
        source="common-practice",
        decimals=1,
        ranked=False,
    ),
    Metric(
        key="sustained-power",
        title="Sustained output power",
        unit="W",
        better="higher",
        condition=("line",),
        definition=(
            "Mean output power of the last ten minutes of a soak at full load. Comparable only "
            "after 55 min or more, at an ambient of 25 ± 2 °C, and when the first level reaches "
            "90 % of the rated power."
        ),
        formula="∫ P dt over the last 10 min / 10 min, by trapezoids",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="thermal-headroom",
        title="Thermal headroom",
        unit="K",
        better="higher",
        condition=("line",),
        definition=(
            "Smallest distance of a sensor's highest reading from the touch limit of its material "
            "(IEC 62368-1:2018, Table 38, TS1, contact 1 s to 10 s). Comparable only at an "
            "ambient of 25 ± 2 °C."
        ),
        formula="min (T_limit − max T) over the sensors",
        source="iec-62368-1",
        decimals=1,
    ),
)

CAUTIONS = (
    "An adapter under full load can burn: put sensors on while it is cold and unplugged, and let "
    "it cool before taking them off.",
    "Thermocouples conduct: fix them to the outside of the closed enclosure only, insulated from "
    "prongs and receptacles, and never open an adapter that is or was just plugged in.",
    "A thermocouple logger or meter may be earthed through its supply; use isolated inputs, so "
    "that a fault in the adapter finds no way through them.",
    "Do not leave a soak alone, keep anything that burns away from it, and leave any work on mains "
    "wiring to licensed people under local codes.",
    "A verdict is an indication from one unit on one bench, never a certification.",
)

KIND = Kind(
    slug="thermal",
    title="Surface temperature",
    summary=(
        "Surface temperatures over an hour at full load: how hot it gets, how fast, how far below "
        "the touch limit it stays, and whether it keeps its output power."
    ),
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("temperature", "output_voltage", "output_current"),
    cautions=CAUTIONS,
    fields=FIELDS,
    plan=plan,
)
