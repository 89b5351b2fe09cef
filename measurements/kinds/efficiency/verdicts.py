"""Efficiencies against the published limits, with what keeps the comparison from being exact."""

from __future__ import annotations

from collections.abc import Sequence

from measurements.kinds.base import Setup, Verdict
from measurements.kinds.efficiency.outputs import OutputResult, advertised_outputs
from measurements.kinds.judging import instrument_deviations, judge, method_deviations
from measurements.metrics.efficiency import AVERAGED_LOADS
from measurements.metrics.limits import Limit, limits_for

_JUDGED = {"average-efficiency": AVERAGED_LOADS, "efficiency-at-10": (10.0,)}

# At the lowest output voltage of a supply with a USB Power Delivery port the method steps
# through 2, 1.5, 1 and 0.5 A: 10 CFR 430 Subpart B Appendix Z (87 FR 51221), read.
_LOWEST_USB_VOLTAGE_V = 5.0
_LOWEST_USB_CURRENT_A = 2.0


def verdicts_of(results: Sequence[OutputResult], setup: Setup) -> tuple[Verdict, ...]:
    """A verdict for every judged efficiency of every output, lowest voltage first."""
    voltages = sorted(
        {item.voltage_v for item in advertised_outputs(setup)}
        or {item.output.voltage_v for item in results}
    )
    return tuple(
        verdict
        for result in results
        for metric in _JUDGED
        for verdict in _verdicts(metric, result, setup=setup, voltages=voltages)
    )


def _verdicts(
    metric: str, result: OutputResult, *, setup: Setup, voltages: Sequence[float]
) -> tuple[Verdict, ...]:
    measured = result.value_of(metric)
    if measured is None:
        return ()
    output = result.output
    limits = limits_for(
        output.voltage_v * output.full_load_a,
        output_v=output.voltage_v,
        output_a=output.full_load_a,
        supply=setup.adapter.supply,
    )
    own = (
        *_rating_deviations(result),
        *_load_deviations(metric, result),
        *_voltage_deviations(result, setup=setup, voltages=voltages),
        *instrument_deviations(
            setup, quantities=("input_power", "output_voltage", "output_current")
        ),
    )

    def deviations(limit: Limit) -> tuple[str, ...]:
        return (*method_deviations(limit, setup=setup), *own)

    return judge(measured, limits=limits, deviations=deviations)


def _rating_deviations(result: OutputResult) -> tuple[str, ...]:
    output = result.output
    if not output.assumed:
        return ()
    return (
        f"No current is advertised at {output.name}; the largest measured current, "
        f"{output.full_load_a:g} A, stands for the nameplate current and decides the limit.",
    )


def _load_deviations(metric: str, result: OutputResult) -> tuple[str, ...]:
    loads = [
        f"{load:g} %"
        for load in _JUDGED[metric]
        if (state := result.states[load]) is not None and state.interpolated
    ]
    if not loads:
        return ()
    return (f"Interpolated between measured loads, not measured: {', '.join(loads)}.",)


def _voltage_deviations(
    result: OutputResult, *, setup: Setup, voltages: Sequence[float]
) -> tuple[str, ...]:
    """The test method for adaptive supplies looks at two voltages, each with its own loads."""
    if setup.adapter.supply != "adaptive":
        return ()
    voltage = result.output.voltage_v
    if any(abs(end - voltage) < 0.025 for end in (voltages[0], voltages[-1])):
        return _lowest_usb_deviations(result, setup=setup, lowest=voltages[0])
    return (
        f"{voltage:g} V is neither the highest nor the lowest output voltage "
        f"({voltages[-1]:g} V and {voltages[0]:g} V); the test method for adaptive supplies "
        "judges only those two.",
    )


def _lowest_usb_deviations(result: OutputResult, *, setup: Setup, lowest: float) -> tuple[str, ...]:
    output = result.output
    ports = setup.adapter.ports if setup.port is None else (setup.port,)
    has_usb_c = any(port.connector == "usb-c" for port in ports)
    at_lowest = abs(output.voltage_v - lowest) < 0.025
    if (
        not (has_usb_c and at_lowest and output.voltage_v == _LOWEST_USB_VOLTAGE_V)
        or output.full_load_a == _LOWEST_USB_CURRENT_A
    ):
        return ()
    return (
        f"100 % load was {output.full_load_a:g} A; at the lowest voltage of a USB Power Delivery "
        "port the test method takes 2, 1.5, 1 and 0.5 A, and a rating of 5 V × 2 A.",
    )
