"""What a reader of a charge should know beside its values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from measurements.kinds.base import Flag, Setup
from measurements.kinds.charge.happenings import Happenings
from measurements.kinds.charge.level import END_SHARE, Level
from measurements.kinds.charge.milestones import Milestones, not_whole
from measurements.kinds.charge.record import Record
from measurements.kinds.charge.summary import minutes
from measurements.kinds.instruments import instrument_flags, listed
from measurements.metrics.gaps import SHORTEST_GAP_S
from measurements.metrics.integration import integral

MAINS_UNKNOWN = (
    "The mains voltage was not stated; efficiencies compare only at the same mains voltage."
)
QUANTITIES = ("output_voltage", "output_current", "input_power")

# Current that runs back by less is the meter's noise around zero: the project's own choice.
_REVERSE_SHARE = 0.05
# Meters multiply before they average; more than this is another quantity: likewise.
_STATED_POWER_SHARE = 0.02
_MOST_NAMED = 5


def remarks(
    record: Record,
    *,
    setup: Setup,
    level: Level,
    milestones: Milestones,
    happenings: Happenings,
    computed: frozenset[str],
    apart: str,
) -> tuple[Flag, ...]:
    """Every flag of the run, each code at most once. `computed` are the metrics with a value."""
    return (
        *_level(level, apart=apart),
        *_milestones(milestones),
        *_marks(happenings),
        *_readings(record, setup=setup, computed=computed),
        *instrument_flags(setup, quantities=[item for item in QUANTITIES if item in record.values]),
    )


def _level(level: Level, *, apart: str) -> Iterator[Flag]:
    if level.source == "charge":
        yield Flag(
            "inferred-charge-level",
            "warning",
            "The file states no battery level. The level is the share of all charge delivered "
            f"until the current stays below {100 * END_SHARE:g} % of its peak, and counts as 0 % "
            "at the start, however full the battery was.",
        )
    elif not level.source:
        yield Flag("no-charge-level", "warning", f"{level.reason} No milestones are given.")
    if apart:
        yield Flag("start-level", "warning", apart)
    if reason := not_whole(level):
        yield Flag("charge-unfinished", "warning", reason)


def _milestones(milestones: Milestones) -> Iterator[Flag]:
    if milestones.passed:
        yield Flag(
            "level-passed",
            "note",
            "Reached already when the charge started, and therefore not reported: "
            f"{_percents(milestones.passed)}.",
        )
    if milestones.in_gap:
        yield Flag(
            "milestone-in-gap",
            "warning",
            "Reached while the log paused, so that nobody knows when, and not reported: "
            f"{_percents(milestones.in_gap)}.",
        )


def _marks(happenings: Happenings) -> Iterator[Flag]:
    if gaps := happenings.gaps:
        places = _named([f"{minutes(start)} to {minutes(stop)}" for start, stop in gaps])
        yield Flag(
            "gaps",
            "warning",
            f"The log pauses: {places}. Energy, charge and mean power leave these times out, so "
            "that energy and charge are too small.",
        )
    if dropouts := happenings.dropouts:
        places = _named([f"{minutes(start)} for {stop - start:.3g} s" for start, stop in dropouts])
        yield Flag("drop-outs", "warning", f"The power dropped out during the charge: {places}.")
    if steps := happenings.steps:
        places = _named(
            [f"{minutes(item.time)} {item.before:.1f} → {item.after:.1f} V" for item in steps]
        )
        yield Flag("voltage-steps", "note", f"The voltage was negotiated anew: {places}.")


def _readings(record: Record, *, setup: Setup, computed: frozenset[str]) -> Iterator[Flag]:
    current = record.values["output_current"]
    lowest = int(np.argmin(current))
    if current[lowest] < -_REVERSE_SHARE * float(np.max(current)):
        yield Flag(
            "reverse-current",
            "warning",
            f"The current runs back to {current[lowest]:.3g} A at "
            f"{minutes(record.time_s[lowest])}; what leaves the device is subtracted.",
        )
    if record.usual_interval_s > SHORTEST_GAP_S:
        yield Flag(
            "coarse-sampling",
            "note",
            f"Readings are {record.usual_interval_s:.3g} s apart: the peak power is that of a "
            "single reading, and drop-outs and steps shorter than that are not seen.",
        )
    yield from _stated_power(record)
    if "charge-peak-power" not in computed:
        yield Flag("no-peak", "note", "No 10 s lie between gaps, so that no peak power is given.")
    if "input_power" in record.values and "wall-to-device-efficiency" not in computed:
        yield Flag(
            "no-efficiency",
            "warning",
            "No efficiency is given: the energy from the mains is not known beside that of the "
            "device, or no larger than the error of its meter.",
        )
    if "wall-to-device-efficiency" in computed and not setup.line:
        yield Flag("mains-unknown", "warning", MAINS_UNKNOWN)


def _stated_power(record: Record) -> Iterator[Flag]:
    """Whether the power that the meter logged itself is that of voltage and current."""
    if record.stated_power_w is None:
        return
    known = np.isfinite(record.stated_power_w)
    both = record.window & known[:-1] & known[1:]
    stated = integral(record.time_s, y=record.stated_power_w, joined=both) / 3600
    ours = integral(record.time_s, y=record.power_w, joined=both) / 3600
    if abs(stated - ours) > _STATED_POWER_SHARE * abs(ours):
        yield Flag(
            "power-differs",
            "warning",
            f"The file's own power adds up to {stated:.4g} Wh, voltage times current to "
            f"{ours:.4g} Wh, which counts; check that the columns belong together.",
        )


def _percents(levels: Sequence[float]) -> str:
    return listed(f"{level:g} %" for level in levels)


def _named(places: Sequence[str]) -> str:
    """The first few places, and how many more there are."""
    shown = "; ".join(places[:_MOST_NAMED])
    more = len(places) - _MOST_NAMED
    return f"{shown}; {more} more" if more > 0 else shown
