"""From a checked ripple file to values, flags, a trace and its chart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from measurements.intake.columns import Table
from measurements.kinds.base import Condition, Details, Measured, Outcome, Setup
from measurements.kinds.coverage import POINTS
from measurements.kinds.ripple.figure import (
    plot_of_points,
    plot_of_waveform,
    trace_of_points,
    trace_of_waveform,
)
from measurements.kinds.ripple.inputs import form_of
from measurements.kinds.ripple.points import (
    Point,
    first_instrument,
    instrument_uncertainty,
    partial_load,
    peak_values,
    point_of,
    points_of,
    set_points,
)
from measurements.kinds.ripple.remarks import remarks_on_readings, remarks_on_waveform
from measurements.kinds.ripple.waveform import Waveform, waveform_of
from measurements.kinds.strongest import compared_by_port
from measurements.metrics.uncertainty import rectangular, root_sum_square


def measure(table: Table, setup: Setup) -> Outcome:
    """Every value that the file supports; `check` must have found nothing.

    There is no verdict: no published scheme limits the ripple of a USB adapter.
    """
    return _of_waveform(table, setup) if form_of(table) == "waveform" else _of_table(table, setup)


def _of_table(table: Table, setup: Setup) -> Outcome:
    points = points_of(table, setup)
    return Outcome(
        values=compared_by_port(peak_values(points, setup), setup),
        flags=remarks_on_readings(table, setup, points=points),
        verdicts=(),
        trace=trace_of_points(points),
        plot=plot_of_points(points),
        details=Details(facts={POINTS: list(set_points(points))}),
    )


def _of_waveform(table: Table, setup: Setup) -> Outcome:
    waveform = waveform_of(table, setup)
    point = point_of(
        setup,
        voltage_v=waveform.nominal_v,
        current_a=waveform.current_a,
        ripple_mv=1000 * waveform.peak_to_peak,
    )
    return Outcome(
        values=compared_by_port(
            (*peak_values((point,), setup), *_shape_values(waveform, point, setup)), setup
        ),
        flags=remarks_on_waveform(waveform, point, setup),
        verdicts=(),
        trace=trace_of_waveform(waveform),
        plot=plot_of_waveform(waveform),
        details=Details(facts={POINTS: list(set_points((point,)))}),
    )


def _shape_values(waveform: Waveform, point: Point, setup: Setup) -> Iterator[Measured]:
    """What only a waveform tells: RMS, crest, the strongest line and the mains component."""
    rms = Measured(
        metric="ripple-rms",
        value=1000 * waveform.root_mean_square,
        standard_uncertainty=instrument_uncertainty(1000 * waveform.root_mean_square, setup=setup),
        condition=Condition(line=setup.line, output_v=point.voltage_v, load=point.load),
        apart=partial_load((point,)),
    )
    yield rms
    if waveform.crest is not None:
        yield replace(
            rms,
            metric="ripple-crest",
            value=waveform.crest,
            standard_uncertainty=_crest_uncertainty(rms, setup),
        )
    if waveform.line is not None:
        yield replace(
            rms,
            metric="ripple-frequency",
            value=waveform.line.frequency,
            # Somewhere within the bin; the instrument's time base is not in the budget.
            standard_uncertainty=rectangular(waveform.line.resolution / 2),
        )
    if waveform.mains is not None:
        value = 2000 * waveform.mains.amplitude
        yield replace(
            rms,
            metric="ripple-mains",
            value=value,
            standard_uncertainty=root_sum_square(
                (
                    instrument_uncertainty(value, setup=setup),
                    2000 * waveform.mains.amplitude_error,
                )
            ),
        )


def _crest_uncertainty(rms: Measured, setup: Setup) -> float:
    """Uncertainty of the crest factor from the instrument's fixed error at the peak.

    An error of gain moves peak and RMS together and cancels; a fixed one [mV] does not.
    """
    accuracy = first_instrument(setup)
    if accuracy is None:
        return 0.0
    return rectangular(accuracy.fixed) / rms.value
