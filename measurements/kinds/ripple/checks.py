"""What keeps a ripple file from being computed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, IntArray, Problem, Table
from measurements.kinds.base import Setup
from measurements.kinds.ripple.inputs import READINGS, WAVEFORM, form_of, no_load_limit, stated
from measurements.kinds.ripple.waveform import CUTOFF_HZ, is_limited, left_out, sample_rate_of

# The most rows named one by one; a file of ten million samples may be wrong in each.
_NAMED_ROWS = 50

_BLOCK = 1 << 20

_SHORTEST_WAVEFORM = 32
_EVEN_SHARE = 0.01
_MOST_VOLTAGES = 200

# Half of the voltage it rides on is no ripple but volts for millivolts.
_RIPPLE_SHARE = 0.5

_FIELDS = {"output_nominal_v": (1.0, 60.0, "V"), "output_current_a": (0.0, 50.0, "A")}


def check(table: Table, setup: Setup) -> tuple[Problem, ...]:
    """Every reason why the file cannot be computed, by row and column."""
    form = tuple(_form(table))
    if form:
        return form
    if not len(table):
        return (Problem("The file has no rows; give readings, or the samples of a waveform."),)
    if form_of(table) == "waveform":
        return (*_bandwidth(setup), *_waveform(table, setup))
    return (*_bandwidth(setup), *_readings(table, setup))


def _form(table: Table) -> Iterator[Problem]:
    """Whether the columns are those of one form, and all of them."""
    readings = [name for name in READINGS if name in table]
    samples = [name for name in WAVEFORM if name in table]
    both = f"a table of readings ({', '.join(READINGS)}) or a waveform ({', '.join(WAVEFORM)})"
    if not readings and not samples:
        yield Problem(f"No column of this kind of run was found; send {both}.")
    elif readings and "voltage_v" in samples and ("ripple_mv_pp" not in table or len(samples) > 1):
        yield Problem(
            f"The file mixes the two forms: {', '.join(readings)} beside {', '.join(samples)}. "
            f"Send {both}, each as a run of its own; the voltage and current of a waveform go "
            "into the form.",
            column=readings[0],
        )
    else:
        # A log of readings may well have a column of time, or of the voltage; neither is needed.
        wanted = READINGS if readings else WAVEFORM
        for name in wanted:
            if name not in table:
                yield Problem(
                    f"The column {name} is missing; the file must hold {both}.", column=name
                )


def _bandwidth(setup: Setup) -> Iterator[Problem]:
    try:
        bandwidth = stated(setup, "bandwidth_mhz")
    except ValueError:
        bandwidth = -1.0
    if bandwidth is not None and bandwidth <= 0:
        yield Problem(
            "The bandwidth must be a number of MHz above zero; correct it or leave it empty.",
            column="bandwidth_mhz",
        )


def _readings(table: Table, setup: Setup) -> Iterator[Problem]:
    unreadable = tuple(
        problem
        for column in READINGS
        for problem in _cells(
            table,
            column,
            wrong=np.flatnonzero(~np.isfinite(table[column])),
            sentence="The cell holds no finite number; fill it in or delete the row.",
        )
    )
    if unreadable:
        yield from unreadable
        return
    nominal, current = np.round(table["output_nominal_v"], 3), table["output_current_a"]
    ripple = table["ripple_mv_pp"]
    yield from _cells(
        table,
        "output_nominal_v",
        wrong=np.flatnonzero(nominal <= 0),
        sentence="A nominal output voltage of {value:g} V is not possible; give the voltage that "
        "was requested from the port.",
    )
    yield from _cells(
        table,
        "ripple_mv_pp",
        wrong=np.flatnonzero(ripple < 0),
        sentence="A peak-to-peak ripple cannot be negative ({value:g} mV); check the column.",
    )
    yield from _cells(
        table,
        "ripple_mv_pp",
        wrong=np.flatnonzero((nominal > 0) & (ripple > _RIPPLE_SHARE * 1000 * nominal)),
        sentence="A ripple of {value:g} mV is more than half of the nominal output voltage; check "
        "the unit of the column.",
    )
    voltages = np.unique(nominal[nominal > 0])
    if len(voltages) > _MOST_VOLTAGES:
        yield Problem(
            f"The column holds {len(voltages)} different nominal voltages; give the voltage that "
            "was requested from the port, not the measured one.",
            column="output_nominal_v",
        )
        return
    backward = np.zeros(len(table), dtype=np.bool_)
    for voltage in voltages:
        limit = no_load_limit(setup, voltage_v=float(voltage))
        backward |= (nominal == voltage) & (current <= -limit)
    yield from _cells(
        table,
        "output_current_a",
        wrong=np.flatnonzero(backward),
        sentence="A negative output current ({value:g} A) would flow into the adapter; check the "
        "sign.",
    )


def _waveform(table: Table, setup: Setup) -> Iterator[Problem]:
    yield from _stated_fields(setup)
    if len(table) < _SHORTEST_WAVEFORM:
        yield Problem(
            f"A waveform of {len(table)} samples is too short; at least {_SHORTEST_WAVEFORM} are "
            "needed, and a whole mains cycle is better."
        )
        return
    unreadable = tuple(
        problem
        for column in WAVEFORM
        for problem in _cells(
            table,
            column,
            wrong=np.flatnonzero(~np.isfinite(table[column])),
            sentence="The cell holds no finite number; a waveform must not have gaps. Export the "
            "record again, or cut it before this row.",
        )
    )
    if unreadable:
        yield from unreadable
        return
    timing = tuple(_timing(table))
    if timing:
        yield from timing
        return
    yield from _length_and_size(table, setup)


def _stated_fields(setup: Setup) -> Iterator[Problem]:
    for name, (minimum, maximum, unit) in _FIELDS.items():
        try:
            number = stated(setup, name)
        except ValueError:
            yield Problem(f"{name} must be a number in {unit}.", column=name)
            continue
        if number is None:
            yield Problem(
                f"A waveform needs {name} in {unit}, for its samples do not tell it; give it in "
                "the form.",
                column=name,
            )
        elif not minimum <= number <= maximum:
            yield Problem(
                f"{name} is {number:g} {unit}; it must lie between {minimum:g} and {maximum:g} "
                f"{unit}.",
                column=name,
            )


def _timing(table: Table) -> Iterator[Problem]:
    """Time that stands still, runs backward, or goes in steps of unequal length."""
    time = table["time_s"]
    stuck = _steps(time, wrong=lambda step: step <= 0)
    if len(stuck):
        yield from _cells(
            table,
            "time_s",
            wrong=stuck + 1,
            sentence="The time {value:.12g} s does not lie after that of the row before; keep one "
            "record in the order of time, written with enough digits to tell the samples apart.",
        )
        return
    mean = (float(time[-1]) - float(time[0])) / (len(time) - 1)
    uneven = _steps(time, wrong=lambda step: np.abs(step - mean) > _EVEN_SHARE * mean)
    if len(uneven):
        first = int(uneven[0])
        yield Problem(
            f"The samples are unevenly spaced: {len(uneven)} of {len(time) - 1} steps differ by "
            f"more than {_EVEN_SHARE:.0%} from the mean step of {mean:.6g} s, the first of them "
            f"{time[first + 1] - time[first]:.6g} s long. Export the record as it was sampled, "
            "time with enough digits, one segment without a gap.",
            row=int(table.rows[first + 1]),
            column="time_s",
        )


def _steps(time: FloatArray, *, wrong: Callable[[FloatArray], NDArray[np.bool_]]) -> IntArray:
    """Indices of the steps of time that are wrong, found block by block."""
    found = [
        np.flatnonzero(wrong(np.diff(time[start : start + _BLOCK + 1]))) + start
        for start in range(0, len(time) - 1, _BLOCK)
    ]
    return np.concatenate(found)


def _length_and_size(table: Table, setup: Setup) -> Iterator[Problem]:
    rate = sample_rate_of(table)
    if is_limited(rate):
        ends = left_out(rate)
        if len(table) < 2 * ends + _SHORTEST_WAVEFORM:
            yield Problem(
                f"Sampled at {rate / 1e6:.4g} MS/s, the waveform is limited to "
                f"{CUTOFF_HZ / 1e6:g} MHz, which disturbs {ends} samples at each end; "
                f"{len(table)} samples are too few. Record at least "
                f"{2 * ends + _SHORTEST_WAVEFORM}, better a whole mains cycle.",
            )
    voltage = table["voltage_v"]
    span = float(voltage.max() - voltage.min())
    try:
        nominal = stated(setup, "output_nominal_v")
    except ValueError:
        return  # told with the field itself
    if nominal is not None and nominal > 0 and span > _RIPPLE_SHARE * nominal:
        yield Problem(
            f"The waveform spans {span:.4g} V, more than half of the nominal {nominal:g} V; check "
            "the unit and the probe factor, and cut off where the output was switched.",
            column="voltage_v",
        )


def _cells(table: Table, column: str, *, wrong: IntArray, sentence: str) -> Iterator[Problem]:
    """One problem a row, up to a number of rows that a person would read."""
    for row in islice(wrong, _NAMED_ROWS):
        yield Problem(
            sentence.format(value=table[column][row]), row=int(table.rows[row]), column=column
        )
    if len(wrong) > _NAMED_ROWS:
        yield Problem(
            f"{len(wrong) - _NAMED_ROWS} more rows of {column} have the same problem.",
            column=column,
        )
