"""The output voltage against what USB Power Delivery lets a fixed voltage be off."""

from __future__ import annotations

import numpy as np

from measurements.kinds.advertised import SAME_VOLTAGE_V, advertised_outputs
from measurements.kinds.base import Setup, Verdict
from measurements.kinds.efficiency.adaptive import may_negotiate
from measurements.kinds.efficiency.leads import lead_of
from measurements.kinds.efficiency.outputs import Output, OutputResult
from measurements.kinds.judging import instrument_deviations, judge
from measurements.metrics.limits import output_tolerance


def tolerance_verdicts(result: OutputResult, *, setup: Setup) -> tuple[Verdict, ...]:
    """The verdict on an output of a USB-C port; none for a voltage that its scan does not hold."""
    measured = result.value_of("output-deviation")
    fixed = [item.voltage_v for item in advertised_outputs(setup) if item.source == "profile"]
    voltage = result.output.voltage_v
    is_fixed = any(abs(voltage - item) <= SAME_VOLTAGE_V for item in fixed)
    if measured is None or not may_negotiate(setup) or (fixed and not is_fixed):
        return ()
    deviations = (
        _plane(setup),
        *(() if is_fixed else _unscanned(result.output)),
        *_range(result.output),
        *instrument_deviations(setup, quantities=("output_voltage",)),
    )
    return judge(measured, limits=(output_tolerance(),), deviations=deviations)


def _plane(setup: Setup) -> str:
    resistance = lead_of(setup).resistance_ohm
    if resistance > 0:
        return (
            f"Measured at the far end of a lead of {resistance:g} Ω and corrected to the "
            "receptacle by calculation; the tolerance holds at the receptacle."
        )
    return (
        "No lead resistance is given, so that the voltage counts as sensed at the receptacle; "
        "what a lead dropped would count against the adapter."
    )


def _unscanned(output: Output) -> tuple[str, ...]:
    return (
        f"No scan of the port says that it advertises {output.name} as a fixed voltage; for "
        "another kind of supply the tolerance is a different one.",
    )


def _range(output: Output) -> tuple[str, ...]:
    lowest, highest = float(np.min(output.nominal)), float(np.max(output.nominal))
    sentences = []
    if output.assumed:
        sentences.append(
            f"No current is advertised at {output.name}; how much of the allowed range of load "
            "was measured is not known."
        )
    elif lowest > 0 or highest < 100:
        sentences.append(
            f"The voltage was read from {lowest:g} to {highest:g} % load; the tolerance holds "
            "from no load to the advertised current."
        )
    if highest > 100 and not output.assumed:
        sentences.append(
            f"The table goes to {highest:g} % load; the tolerance ends at the advertised current."
        )
    return tuple(sentences)
