"""Declaration of the kind: columns, fields, metrics and cautions."""

from __future__ import annotations

from measurements.intake.columns import Column
from measurements.kinds.base import Field, Kind, Metric, ValueMap
from measurements.kinds.ripple.checks import check
from measurements.kinds.ripple.compute import measure
from measurements.kinds.ripple.plan import plan

# No column is required by itself: a file holds either the first three or the last two, which
# only `check` can tell.
COLUMNS = (
    Column(
        name="output_nominal_v",
        title="Nominal output voltage",
        unit="V",
        required=False,
        aliases=("nominal voltage", "nominal output voltage", "requested voltage", "v nom"),
        minimum=1.0,
        maximum=60.0,
    ),
    Column(
        name="output_current_a",
        title="Output current",
        unit="A",
        required=False,
        aliases=("output current", "i out", "iout", "ibus", "load current", "dc current", "load"),
        maximum=50.0,
    ),
    Column(
        name="ripple_mv_pp",
        title="Ripple, peak to peak",
        unit="mVpp",
        required=False,
        aliases=(
            "ripple",
            "output ripple",
            "ripple pp",
            "ripple p p",
            "ripple and noise",
            "ripple noise",
            "peak to peak ripple",
            "ripple peak to peak",
            "vpp",
            "v pp",
        ),
        minimum=0.0,
    ),
    Column(
        name="time_s",
        title="Time",
        unit="s",
        required=False,
        aliases=("time", "t", "elapsed", "elapsed time", "zeit"),
    ),
    Column(
        name="voltage_v",
        title="Sampled output voltage",
        unit="V",
        required=False,
        aliases=(
            "voltage",
            "v",
            "u",
            "output voltage",
            "v out",
            "vout",
            "vbus",
            "ch1",
            "channel 1",
            "spannung",
        ),
        minimum=-100.0,
        maximum=100.0,
    ),
)

FIELDS = (
    Field(
        name="output_nominal_v",
        title="Nominal output voltage",
        help="For a waveform: the voltage that was requested from the port.",
        unit="V",
        minimum=1.0,
        maximum=60.0,
    ),
    Field(
        name="output_current_a",
        title="Output current",
        help="For a waveform: the constant load during the record; 0 for none.",
        unit="A",
        minimum=0.0,
        maximum=50.0,
    ),
    Field(
        name="bandwidth_mhz",
        title="Bandwidth",
        help="Of the instrument, as it was set: 20 when its own limit of 20 MHz was on.",
        unit="MHz",
        minimum=0.0001,
        maximum=100_000.0,
        alike=True,
    ),
    Field(
        name="capacitors",
        title="Capacitors at the probe",
        help="What stood across the output where it was probed, such as 10 µF and 0.1 µF, or none.",
        type="text",
        alike=True,
    ),
)

# One sentence each, for a ranking shows them too; the notes hold the filter and the details.
_BAND = "A waveform sampled faster than 40 MS/s is limited to 20 MHz first."
_UNLOADED = "Without load means below 0.5 % of the advertised current, or 5 mA where there is none."

METRICS = (
    Metric(
        key="ripple-no-load",
        title="Ripple without load",
        unit="mV",
        better="lower",
        condition=("line",),
        definition=(
            "Largest peak-to-peak ripple over the points without load, over all output voltages; "
            f"also given for each. {_UNLOADED} {_BAND}"
        ),
        formula="max (max v − min v) over the points without load",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="ripple-loaded",
        title="Ripple with load",
        unit="mV",
        better="lower",
        condition=("line",),
        definition=(
            "Largest peak-to-peak ripple over the points with load, over all output voltages; also "
            "given for each. Comparable only when the load reaches 90 % of the advertised "
            f"current. {_UNLOADED} {_BAND}"
        ),
        formula="max (max v − min v) over the points with load",
        source="common-practice",
        decimals=1,
    ),
    Metric(
        key="ripple-share",
        title="Ripple, share of the voltage",
        unit="%",
        better="lower",
        condition=("line",),
        definition=(
            "Largest peak-to-peak ripple as part of the nominal output voltage, over all points; "
            f"also given for each output voltage, with and without load. {_UNLOADED}"
        ),
        formula="100 · max ((max v − min v) / V_nominal)",
        source="common-practice",
        decimals=2,
    ),
    Metric(
        key="ripple-rms",
        title="RMS ripple",
        unit="mV",
        better="lower",
        condition=("line", "output_v", "load"),
        definition=(
            "Root mean square of the waveform without its mean, without load or with it. "
            f"{_UNLOADED} {_BAND}"
        ),
        formula="√(mean of (v − mean v)²)",
        source="common-practice",
        decimals=2,
    ),
    Metric(
        key="ripple-frequency",
        title="Dominant ripple frequency",
        unit="Hz",
        better="",
        condition=("line", "output_v", "load"),
        definition=(
            "Frequency of the strongest line in the spectrum of the waveform without its mean, "
            "under a Hann window, interpolated between two bins. Neither high nor low is better, "
            f"so it is not ranked. {_BAND}"
        ),
        formula="(k + δ) · f_s / n, δ = (2α − 1) / (α + 1), α = |X(k ± 1)| / |X(k)|",
        source="common-practice",
        decimals=0,
        ranked=False,
    ),
    Metric(
        key="ripple-crest",
        title="Crest factor of the ripple",
        unit="1",
        better="",
        condition=("line", "output_v", "load"),
        definition=(
            "Largest distance of the waveform from its mean over its RMS ripple: √2 for a sine, "
            "more for narrow spikes. It describes the shape, so it is not ranked. "
            f"{_BAND}"
        ),
        formula="max |v − mean v| / RMS",
        source="common-practice",
        decimals=2,
        ranked=False,
    ),
    Metric(
        key="ripple-mains",
        title="Ripple at twice the mains frequency",
        unit="mV",
        better="lower",
        condition=("line", "output_v", "load"),
        definition=(
            "Peak-to-peak value of the sine at twice the mains frequency, 100 or 120 Hz, fitted to "
            "a whole number of mains cycles of the waveform. A record shorter than one mains cycle "
            "has none."
        ),
        formula="2 · √(a² + b²) of the least-squares fit c + a · cos(2π · 2f · t) + b · sin(…)",
        source="common-practice",
        decimals=2,
    ),
)

CAUTIONS = (
    "The earth clip of a mains-powered oscilloscope is tied to house earth. Put on an output that "
    "is not isolated as it should be, it is a short circuit: use a differential or "
    "battery-powered instrument, or have the isolation of the adapter checked first.",
    "Probe the output only, at a break-out board. Never open the adapter and never probe its mains "
    "side; leave any work on mains wiring to licensed people under local codes.",
    "Use the short ground spring at the probe's tip instead of the long clip lead, and see that "
    "neither slips: a shorted output at full current throws sparks and burns.",
    "Mind the polarity and the voltage rating of capacitors at the probe: a reversed or overdriven "
    "electrolytic capacitor can burst.",
    "Full load makes adapter, cables and load hot: stay with the test and let everything cool "
    "before touching it.",
)

KIND = Kind(
    slug="ripple",
    title="Ripple",
    summary=(
        "How far the output voltage swings around its mean, without load and with it: readings at "
        "several operating points, or a sampled waveform of one."
    ),
    columns=COLUMNS,
    metrics=METRICS,
    check=check,
    measure=measure,
    quantities=("ripple",),
    cautions=CAUTIONS,
    fields=FIELDS,
    plan=plan,
    follows=("port-scan",),
    maps=(
        ValueMap(
            title="Ripple by output voltage and load",
            metrics=("ripple-no-load", "ripple-loaded"),
        ),
    ),
)
