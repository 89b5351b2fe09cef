"""Efficiencies against the published limits, with what keeps the comparison from being exact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from measurements.kinds.base import Setup, Verdict
from measurements.kinds.efficiency.adaptive import STEPS, Ends, outside_definition
from measurements.kinds.efficiency.outputs import OutputResult
from measurements.kinds.efficiency.tolerance import tolerance_verdicts
from measurements.kinds.judging import instrument_deviations, judge, method_deviations
from measurements.metrics.efficiency import AVERAGED_LOADS
from measurements.metrics.limits import Limit, adaptive_loading_of, limits_for
from measurements.standards import us_doe_appendix_z_2022 as appendix_z

_JUDGED = {"average-efficiency": AVERAGED_LOADS, "efficiency-at-10": (10.0,)}
_INSTRUMENTS = ("input_power", "output_voltage", "output_current")
_STEPPED_A = appendix_z.USB_STEPS_A[0]


def verdicts_of(
    results: Sequence[OutputResult], setup: Setup, *, ends: Ends | None
) -> tuple[Verdict, ...]:
    """A verdict for every judged value of every output, lowest voltage first."""
    return tuple(
        verdict
        for result in results
        for verdict in (
            *_by_usb_steps(result, setup=setup, ends=ends),
            *_by_shares("average-efficiency", result, setup=setup, ends=ends),
            *_by_shares("efficiency-at-10", result, setup=setup, ends=ends),
            *tolerance_verdicts(result, setup=setup),
        )
    )


def _by_shares(
    metric: str, result: OutputResult, *, setup: Setup, ends: Ends | None
) -> tuple[Verdict, ...]:
    """Verdicts on a value at shares of the advertised current."""
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
    if metric == "average-efficiency":
        rule = f"loads 25, 50, 75 and 100 % of {output.full_load_a:g} A"
        limits = tuple(
            _with_loading(limit, rule=rule)
            for limit in limits
            if not (_has_own_steps(result) and adaptive_loading_of(limit.scheme))
        )
    own = (
        *_rating_deviations(result),
        *_load_deviations(metric, result),
        *instrument_deviations(setup, quantities=_INSTRUMENTS),
    )

    def deviations(limit: Limit) -> tuple[str, ...]:
        return (
            *method_deviations(limit, setup=setup),
            *_voltage_deviations(limit, result, setup=setup, ends=ends),
            *own,
        )

    return judge(measured, limits=limits, deviations=deviations)


def _by_usb_steps(result: OutputResult, *, setup: Setup, ends: Ends | None) -> tuple[Verdict, ...]:
    """Verdicts on the lowest voltage of a USB port, loaded and rated as the method says."""
    measured = result.value_of("adaptive-efficiency")
    if measured is None or ends is None or not _has_own_steps(result):
        return ()
    voltage = result.output.voltage_v
    limits = (
        _with_loading(replace(limit, quantity="adaptive-efficiency"), rule=f"loads {STEPS}")
        for limit in limits_for(
            voltage * _STEPPED_A,
            output_v=voltage,
            output_a=_STEPPED_A,
            supply=setup.adapter.supply,
        )
        if limit.quantity == "average-efficiency" and adaptive_loading_of(limit.scheme)
    )
    own = (
        *outside_definition(setup, ends=ends),
        *instrument_deviations(setup, quantities=_INSTRUMENTS),
    )

    def deviations(limit: Limit) -> tuple[str, ...]:
        return (*method_deviations(limit, setup=setup), *own)

    return judge(measured, limits=limits, deviations=deviations)


def _has_own_steps(result: OutputResult) -> bool:
    """Whether the steps were measured and are other loads than the shares."""
    return result.usb_steps and result.output.full_load_a != _STEPPED_A


def _with_loading(limit: Limit, *, rule: str) -> Limit:
    return replace(limit, clause=f"{limit.clause}; {rule}")


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
    limit: Limit, result: OutputResult, *, setup: Setup, ends: Ends | None
) -> tuple[str, ...]:
    """The test method for adaptive supplies looks at two voltages, each with its own loads."""
    if ends is None:
        return ()
    output = result.output
    if not ends.include(output.voltage_v):
        return (
            f"{output.name} is neither the highest nor the lowest output voltage "
            f"({ends.highest_v:g} V and {ends.lowest_v:g} V); the test method for adaptive "
            "supplies judges only those two. Judged for information.",
        )
    if (
        not adaptive_loading_of(limit.scheme)
        or not ends.ask_for_steps(output.voltage_v)
        or output.full_load_a == _STEPPED_A
    ):
        return ()
    return (
        f"100 % load was {output.full_load_a:g} A; at the lowest voltage of a USB Power Delivery "
        f"port the test method takes {STEPS}, and a rating of 5 V × 2 A. The table does not "
        "hold those four points.",
        *outside_definition(setup, ends=ends),
    )
