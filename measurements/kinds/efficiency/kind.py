"""Declaration of the kind: columns, fields, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Field, Kind, Metric, ValueMap
from measurements.kinds.efficiency.checks import check
from measurements.kinds.efficiency.compute import measure
from measurements.kinds.efficiency.plan import plan

COLUMNS = (
    Column(
        name="output_nominal_v",
        title="Nominal output voltage",
        unit="V",
        aliases=("nominal voltage", "nominal output voltage", "requested voltage", "v nom"),
        minimum=1.0,
        maximum=60.0,
    ),
    Column(
        name="input_power_w",
        title="Input power",
        unit="W",
        aliases=("input power", "p in", "pin", "ac power", "mains power"),
        maximum=2000.0,
    ),
    Column(
        name="output_voltage_v",
        title="Output voltage",
        unit="V",
        aliases=("output voltage", "v out", "vout", "vbus", "dc voltage"),
        maximum=100.0,
    ),
    Column(
        name="output_current_a",
        title="Output current",
        unit="A",
        aliases=("output current", "i out", "iout", "ibus", "load current", "dc current"),
        maximum=50.0,
    ),
    Column(
        name="load_percent",
        title="Nominal load",
        unit="%",
        required=False,
        aliases=("load", "nominal load"),
        minimum=0.0,
        maximum=200.0,
    ),
    Column(
        name="power_factor",
        title="Power factor",
        unit="",
        required=False,
        aliases=("power factor", "pf"),
        minimum=-1.0,
        maximum=1.0,
    ),
)

FIELDS = (
    Field(
        name="lead_resistance_ohm",
        title="Lead resistance",
        help=(
            "Loop resistance of the lead between receptacle and voltmeter, both conductors. "
            "Leave empty when the voltage was sensed at the receptacle."
        ),
        unit="Ω",
        minimum=0.0,
        maximum=10.0,
    ),
    Field(
        name="lead_accuracy_percent",
        title="Accuracy of the lead resistance",
        help="How well that resistance is known, ± % of it; 10 % when left empty.",
        unit="%",
        minimum=0.0,
        maximum=100.0,
    ),
)

_HUNDRED = (
    "100 % is the port's advertised current at that voltage, else the largest current in the "
    "table. A point counts for a load within ±2 points of it, repeated points are averaged; "
    "otherwise the loss is interpolated over output power between measured neighbours. "
    "Nothing is extrapolated."
)

METRICS = (
    Metric(
        key="average-efficiency",
        title="Average efficiency",
        unit="%",
        better="higher",
        condition=("line", "output_v"),
        definition=f"Mean of the efficiencies at 25, 50, 75 and 100 % load. {_HUNDRED}",
        formula="(η25 + η50 + η75 + η100) / 4, η = 100 · V_out · I_out / P_in",
        source="us-doe-appendix-z",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="adaptive-efficiency",
        title="Average efficiency of an adaptive supply",
        unit="%",
        better="higher",
        condition=("line", "output_v"),
        definition=(
            "What the test method for supplies of negotiated voltage looks at: the average "
            "efficiency at the highest and at the lowest output voltage, each for itself. At 5 V, "
            "where that is the lowest voltage of a USB-C port, it is the mean of the efficiencies "
            "at 2, 1.5, 1 and 0.5 A, given only when all four were measured (within ±0.04 A); "
            "elsewhere it equals the average efficiency."
        ),
        formula="(η1 + η2 + η3 + η4) / 4 at 2, 1.5, 1 and 0.5 A, or at 100, 75, 50 and 25 %",
        source="us-doe-appendix-z",
        decimals=2,
    ),
    Metric(
        key="efficiency-at-10",
        title="Efficiency at 10 % load",
        unit="%",
        better="higher",
        condition=("line", "output_v"),
        definition=f"Efficiency at 10 % load. {_HUNDRED}",
        formula="100 · V_out · I_out / P_in at 10 % of the full-load current",
        source="eu-coc-v5",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="lowest-efficiency",
        title="Lowest efficiency",
        unit="%",
        better="higher",
        condition=("line",),
        definition=(
            "Lowest efficiency over all measured points under load, at all output voltages."
        ),
        formula="min (100 · V_out · I_out / P_in)",
        source="common-practice",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="highest-efficiency",
        title="Highest efficiency",
        unit="%",
        better="higher",
        condition=("line",),
        definition=(
            "Highest efficiency over all measured points under load, at all output voltages."
        ),
        formula="max (100 · V_out · I_out / P_in)",
        source="common-practice",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="full-load-loss",
        title="Loss at full load",
        unit="W",
        better="lower",
        condition=("line", "output_v"),
        definition=f"Input minus output power at 100 % load. {_HUNDRED}",
        formula="P_in − V_out · I_out at the full-load current",
        source="common-practice",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="efficiency",
        title="Efficiency at a load",
        unit="%",
        better="higher",
        condition=("line", "output_v", "load_percent"),
        definition=(
            "Output over input power of each measured load; repeated points of one load are "
            "averaged. The load is named 10, 25, 50, 75 or 100 % within ±2 points of it, else by "
            "the nearest whole per cent. Not ranked: the loads that people measure differ."
        ),
        formula="100 · V_out · I_out / P_in",
        source="us-doe-appendix-z",
        decimals=2,
        method="1.1",
        ranked=False,
    ),
    Metric(
        key="efficiency-at-load",
        title="Efficiency at equal load",
        unit="%",
        better="higher",
        condition=("line", "output_v", "load"),
        definition=(
            "Efficiency at 10, 25, 50, 75 or 100 % load, each for itself, to compare adapters at "
            f"the same share of what they are made for. {_HUNDRED}"
        ),
        formula="100 · V_out · I_out / P_in at that share of the full-load current",
        source="us-doe-appendix-z",
        decimals=2,
    ),
    Metric(
        key="efficiency-at-power",
        title="Efficiency at equal power",
        unit="%",
        better="higher",
        condition=("line", "output_v", "load"),
        definition=(
            "Efficiency at an output power of 15, 30, 45, 65 or 100 W, to compare adapters of "
            "different ratings at the same work. A point counts within ±2 % of the power, repeated "
            "points are averaged; otherwise the loss is interpolated over output power between "
            "measured neighbours. Nothing is extrapolated."
        ),
        formula="100 · P / (P + P_loss(P))",
        source="common-practice",
        decimals=2,
    ),
    Metric(
        key="output-deviation",
        title="Output voltage deviation",
        unit="%",
        better="lower",
        condition=("line", "output_v"),
        definition="Largest distance of the output voltage from its nominal value, at any load.",
        formula="100 · max |V_out − V_nominal| / V_nominal",
        source="common-practice",
        decimals=2,
        method="1.1",
    ),
    Metric(
        key="load-regulation",
        title="Load regulation",
        unit="%",
        better="lower",
        condition=("line", "output_v"),
        definition=(
            "Output voltage at the lowest load minus that at the highest, over the nominal "
            "voltage. Negative when the adapter raises its voltage with load to make up for the "
            "cable."
        ),
        formula="100 · (V_lowest load − V_highest load) / V_nominal",
        source="common-practice",
        decimals=2,
        method="1.1",
    ),
)

CAUTIONS = (
    "The input side carries mains voltage: use a metered socket or an enclosed break-out box, "
    "never open wiring, and leave any work on mains wiring to licensed people under local codes.",
    "Full load makes adapter, cables and load hot: stay with the test, keep the air free, and let "
    "everything cool before touching it.",
    "A mains-earthed oscilloscope or meter lead on a floating output can short it through earth: "
    "use isolated or differential inputs.",
    "A verdict is an indication from one unit on one bench, never a certification.",
)

KIND = Kind(
    slug="efficiency",
    title="Efficiency",
    summary=(
        "Input and output power at several loads, for every output voltage: average efficiency, "
        "losses and how well the voltage holds."
    ),
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("input_power", "output_voltage", "output_current"),
    cautions=CAUTIONS,
    fields=FIELDS,
    plan=plan,
    follows=("port-scan",),
    maps=(
        ValueMap(
            "Efficiency by output voltage and load",
            metrics=("efficiency",),
            rows="output_v",
            columns="load_percent",
        ),
    ),
)
