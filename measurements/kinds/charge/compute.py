"""From a checked charging log to values, flags, marks and a trace."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import (
    Condition,
    Details,
    DeviceFacts,
    Line,
    Measured,
    Outcome,
    Setup,
)
from measurements.kinds.charge.figure import plot_of, trace_of
from measurements.kinds.charge.happenings import Happenings, happenings_of
from measurements.kinds.charge.level import level_of
from measurements.kinds.charge.milestones import (
    Milestones,
    milestones_of,
    not_comparable,
    not_whole,
)
from measurements.kinds.charge.record import Readings, Record, power_of, record_of
from measurements.kinds.charge.remarks import MAINS_UNKNOWN, remarks
from measurements.kinds.charge.summary import facts_of, listings_of
from measurements.metrics.integration import integral, joined_duration
from measurements.metrics.rolling import highest_rolling_median
from measurements.metrics.uncertainty import ErrorSource, accuracy_uncertainty, propagate

SECONDS_PER_HOUR = 3600.0
PEAK_WINDOW_S = 10.0


def measure(table: Table, setup: Setup) -> Outcome:
    """Everything that the log supports; `check` must have found nothing."""
    record = record_of(table)
    device = _device(setup)
    level = level_of(record)
    sources = _sources(record, setup=setup)
    milestones = milestones_of(record, level=level, sources=sources)
    happenings = happenings_of(record, level=level)
    apart = not_comparable(record, level=level, device=device)
    values = (
        *_times(milestones, device=device, apart=apart),
        *_totals(record, device=device, sources=sources),
        *_powers(record, device=device, sources=sources, apart=apart or not_whole(level)),
        *_efficiency(record, line=setup.line, device=device, sources=sources, apart=apart),
        _stages(happenings, device=device),
    )
    return Outcome(
        values=values,
        flags=remarks(
            record,
            setup=setup,
            level=level,
            milestones=milestones,
            happenings=happenings,
            computed=frozenset(value.metric for value in values),
            apart=apart,
        ),
        verdicts=(),
        trace=trace_of(record, level=level),
        plot=plot_of(record, level=level, milestones=milestones, happenings=happenings),
        details=Details(
            facts=facts_of(
                record,
                device=device,
                level=level,
                milestones=milestones,
                happenings=happenings,
            ),
            listings=listings_of(happenings),
        ),
    )


def _device(setup: Setup) -> DeviceFacts:
    device = setup.device(str(setup.fields["device"]))
    if device is None:
        raise ValueError("A log whose device is not in the catalogue has no condition.")
    return device


def _sources(record: Record, *, setup: Setup) -> tuple[ErrorSource, ...]:
    """The first instrument of each quantity that the file holds."""
    sources = []
    for quantity, readings in record.values.items():
        for accuracy in setup.accuracies_of(quantity)[:1]:
            sources.append(
                ErrorSource(
                    quantity,
                    accuracy_uncertainty(
                        readings,
                        reading_percent=accuracy.reading_percent,
                        fixed=accuracy.fixed,
                    ),
                )
            )
    return tuple(sources)


def _measured(
    metric: str,
    function: Callable[[Readings], float],
    *,
    record: Record,
    device: DeviceFacts,
    sources: tuple[ErrorSource, ...],
    line: Line = "",
    apart: str = "",
) -> Measured:
    return Measured(
        metric=metric,
        value=function(record.values),
        standard_uncertainty=propagate(function, values=record.values, sources=sources),
        condition=Condition(line=line, device=device.slug),
        apart=apart,
    )


def _times(milestones: Milestones, *, device: DeviceFacts, apart: str) -> list[Measured]:
    return [
        Measured(
            metric=item.metric,
            value=item.time_s / 60,
            standard_uncertainty=item.uncertainty_s / 60,
            condition=Condition(device=device.slug),
            apart=apart,
        )
        for item in milestones.reached
    ]


def _totals(
    record: Record, *, device: DeviceFacts, sources: tuple[ErrorSource, ...]
) -> list[Measured]:
    """Energy and charge over the whole log."""

    def energy(values: Readings) -> float:
        total = integral(record.time_s, y=power_of(values), joined=record.joined)
        return total / SECONDS_PER_HOUR

    def charge(values: Readings) -> float:
        total = integral(record.time_s, y=values["output_current"], joined=record.joined)
        return total / SECONDS_PER_HOUR

    return [
        _measured("charge-energy", energy, record=record, device=device, sources=sources),
        _measured("charge-delivered", charge, record=record, device=device, sources=sources),
    ]


def _powers(
    record: Record, *, device: DeviceFacts, sources: tuple[ErrorSource, ...], apart: str
) -> list[Measured]:
    """Peak and mean power, where the log has a stretch long enough for them."""
    duration = joined_duration(record.time_s, joined=record.window)

    def peak(values: Readings) -> float:
        found = highest_rolling_median(
            record.time_s, y=power_of(values), joined=record.joined, window=PEAK_WINDOW_S
        )
        return math.nan if found is None else found

    def mean(values: Readings) -> float:
        return integral(record.time_s, y=power_of(values), joined=record.window) / duration

    values = [_measured("charge-peak-power", peak, record=record, device=device, sources=sources)]
    if math.isnan(values[0].value):
        values = []
    if duration > 0:
        values.append(
            _measured(
                "charge-mean-power",
                mean,
                record=record,
                device=device,
                sources=sources,
                apart=apart,
            )
        )
    return values


def _efficiency(
    record: Record,
    *,
    line: Line,
    device: DeviceFacts,
    sources: tuple[ErrorSource, ...],
    apart: str,
) -> list[Measured]:
    """Energy into the device over energy from the mains, over the intervals that have both."""
    if "input_power" not in record.values:
        return []
    known = np.isfinite(record.values["input_power"])
    both = record.window & known[:-1] & known[1:]

    def drawn(power: FloatArray) -> float:
        return integral(record.time_s, y=power, joined=both)

    def efficiency(values: Readings) -> float:
        given = integral(record.time_s, y=power_of(values), joined=both)
        return 100 * given / drawn(values["input_power"])

    power = record.values["input_power"]
    errors = [source.uncertainty for source in sources if source.quantity == "input_power"]
    if min([drawn(power), *(drawn(power - error) for error in errors)]) <= 0:
        return []
    return [
        _measured(
            "wall-to-device-efficiency",
            efficiency,
            record=record,
            device=device,
            sources=sources,
            line=line,
            apart=" ".join(filter(None, (apart, "" if line else MAINS_UNKNOWN))),
        )
    ]


def _stages(happenings: Happenings, *, device: DeviceFacts) -> Measured:
    """A count; that the detection might have found another number is not in an uncertainty."""
    return Measured(
        metric="charge-stages",
        value=float(len(happenings.steady)),
        standard_uncertainty=0.0,
        condition=Condition(device=device.slug),
    )
