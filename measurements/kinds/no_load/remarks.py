"""What a reader of a no-load result should know about its record."""

from __future__ import annotations

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import Flag, Setup
from measurements.kinds.instruments import instrument_flags
from measurements.kinds.no_load.record import Record
from measurements.kinds.slips import long_record
from measurements.metrics.decision import COVERAGE_FACTOR
from measurements.standards import iec_62301_2011 as sampling

_MEMORY = f"({sampling.TITLE}, {sampling.SAMPLING_STANDING})"

# Above this something was connected, or the file is of another kind: the project's own bound.
LOADED_FROM_W = 3.0
# The best of adapters take some milliwatts: the project's own bound.
LEAST_W = 0.001
# Even a discharged filter takes some active power; and none takes more of it than of apparent
# power, but for the errors of two small readings: the project's own bounds.
LEAST_POWER_FACTOR = 0.001
APPARENT_SLACK = 1.5
# A logger that stalls shows as one spacing far above the usual one: common practice.
GAP_FACTOR = 5.0
# How far the measured mains voltage may lie from the stated one: the supply tolerance of 1 %.
MAINS_TOLERANCE = 0.01


def remarks(record: Record, *, table: Table, setup: Setup, instrument_w: float) -> tuple[Flag, ...]:
    """All flags of a record. `instrument_w` [W] is the meter's standard uncertainty."""
    return (
        *_size_remarks(record),
        *long_record(record.duration_s),
        *_length_remarks(record),
        *_steadiness_remarks(record),
        *_spacing_remarks(record, table=table),
        *_mains_remarks(record, table=table, setup=setup),
        *_apparent_remarks(record, table=table),
        *_instrument_remarks(record, setup=setup, instrument_w=instrument_w),
    )


def _size_remarks(record: Record) -> list[Flag]:
    if record.mean_w < LEAST_W:
        return [
            Flag(
                "low-power",
                "warning",
                f"{1000 * record.mean_w:.3g} mW is less than any adapter at the mains is known to "
                "take. Check the unit of the column, and that the adapter was plugged in.",
            )
        ]
    if record.mean_w <= LOADED_FROM_W:
        return []
    return [
        Flag(
            "high-power",
            "warning",
            f"{record.mean_w:.4g} W is far above what any adapter takes without load (no published "
            "limit is above 0.5 W). Check that nothing was connected to it, and that the file is "
            "a record without load.",
        )
    ]


def _length_remarks(record: Record) -> list[Flag]:
    if record.power_w.size == 1:
        return [
            Flag(
                "single-reading",
                "warning",
                "One reading only: neither scatter nor stability can be seen.",
            )
        ]
    duration = record.duration_s
    if duration is None:
        return [
            Flag(
                "no-time",
                "warning",
                "No time column: the first third was left out by number of readings, and length "
                "and stability of the record are unknown.",
            )
        ]
    if duration < sampling.SHORTEST_RECORD_S:
        return [
            Flag(
                "short-record",
                "warning",
                f"The record lasts {duration / 60:.1f} min; the method asks for at least "
                f"{sampling.SHORTEST_RECORD_S / 60:.0f} min {_MEMORY}.",
            )
        ]
    return []


def _steadiness_remarks(record: Record) -> list[Flag]:
    drift = record.drift_w_per_h
    if drift is None:
        if record.time_s is None or record.power_w.size == 1:
            return []  # said already
        return [
            Flag(
                "few-readings",
                "warning",
                f"Only {record.kept_count} of the readings lie in the last two thirds of the "
                "record; stability needs at least three.",
            )
        ]
    if not record.is_unstable:
        return []
    return [
        Flag(
            "unstable",
            "warning",
            f"Input power drifts by {drift * 1000:.1f} mW/h over the last two thirds of the "
            f"record; a stable one drifts by less than {record.largest_drift_w_per_h * 1000:.1f} "
            f"mW/h {_MEMORY}. Measure for longer.",
        )
    ]


def _spacing_remarks(record: Record, *, table: Table) -> list[Flag]:
    if record.time_s is None or record.power_w.size < 2:
        return []
    spacing = np.diff(record.time_s)
    usual, longest = float(np.median(spacing)), float(spacing.max())
    flags = []
    # A logger set to 1 s is late by a millisecond now and then.
    if usual > sampling.LONGEST_SPACING_S * 1.01:
        flags.append(
            Flag(
                "coarse-sampling",
                "note",
                f"Readings are {usual:.3g} s apart; the method asks for "
                f"{sampling.LONGEST_SPACING_S:g} s or less {_MEMORY}, because short bursts fall "
                "between them.",
            )
        )
    if longest > GAP_FACTOR * usual:
        row = int(table.rows[int(spacing.argmax()) + 1])
        flags.append(
            Flag(
                "time-gap",
                "note",
                f"{longest:.3g} s without a reading before row {row}; the mean leaves them out.",
            )
        )
    return flags


def _apparent_remarks(record: Record, *, table: Table) -> list[Flag]:
    """Whether the power fits voltage and current, which are logged beside it."""
    if "input_voltage_v" not in table or "input_current_a" not in table:
        return []
    apparent = table["input_voltage_v"][record.kept] * table["input_current_a"][record.kept]
    apparent = apparent[np.isfinite(apparent)]
    if apparent.size == 0 or record.mean_w <= 0:
        return []
    mean_va = float(apparent.mean())
    if LEAST_POWER_FACTOR * mean_va <= record.mean_w <= APPARENT_SLACK * mean_va:
        return []
    return [
        Flag(
            "power-beside-apparent",
            "warning",
            f"The record holds {record.mean_w:.4g} W beside {mean_va:.4g} VA of voltage and "
            "current, which do not belong together. Check the units of the three columns.",
        )
    ]


def _mains_remarks(record: Record, *, table: Table, setup: Setup) -> list[Flag]:
    if "input_voltage_v" not in table or setup.mains_v is None:
        return []
    voltages = table["input_voltage_v"][record.kept]
    voltages = voltages[np.isfinite(voltages)]
    if voltages.size == 0:
        return []
    actual = float(voltages.mean())
    if abs(actual - setup.mains_v) <= MAINS_TOLERANCE * setup.mains_v:
        return []
    return [
        Flag(
            "mains-differs",
            "warning",
            f"The file shows {actual:.1f} V of mains on average, the run states "
            f"{setup.mains_v:g} V.",
        )
    ]


def _instrument_remarks(record: Record, *, setup: Setup, instrument_w: float) -> list[Flag]:
    flags = list(instrument_flags(setup, quantities=("input_power",)))
    if not setup.accuracies_of("input_power"):
        return flags
    expanded = COVERAGE_FACTOR * instrument_w
    allowed = sampling.LARGEST_UNCERTAINTY_W
    if record.mean_w >= sampling.UNCERTAINTY_BOUNDARY_W:
        allowed = sampling.LARGEST_RELATIVE_UNCERTAINTY * record.mean_w
    if expanded > allowed:
        flags.append(
            Flag(
                "coarse-instrument",
                "note",
                f"The instrument's expanded uncertainty here is {expanded:.3f} W; the method "
                f"allows {allowed:.3f} W {_MEMORY}.",
            )
        )
    return flags
