"""Gaps, drop-outs and voltage steps as the chart of a charge shows them."""

from __future__ import annotations

from measurements.kinds.base import PlotBand, PlotRule
from measurements.kinds.charge.happenings import Happenings, Span
from measurements.kinds.charge.summary import length_of

MOST_MARKS = 5

# A shorter stretch would be a hair on the chart: it gets a line at its start.
_NARROW_SHARE = 0.02
# A voltage that settles this soon after the power came back is what it came back to.
_SAME_MOMENT_S = 60.0

Mark = PlotBand | PlotRule


def marks_of(happenings: Happenings) -> tuple[Mark, ...]:
    """At most `MOST_MARKS`, in minutes: the longest stretches first, then the largest steps."""
    shown = _shown_s(happenings)
    steps = list(happenings.steps)
    found: list[tuple[float, Mark]] = []
    for start, stop in happenings.gaps:
        name = f"{length_of(stop - start)} gap"
        found.append((stop - start, _stretch((start, stop), name, shown=shown)))
    for start, stop in happenings.dropouts:
        name = f"{length_of(stop - start)} drop-out"
        back = [step for step in steps if start <= step.time <= stop + _SAME_MOMENT_S]
        if back:
            steps = [step for step in steps if step not in back]
            name += f", then {back[-1].after:.3g} V"
        found.append((stop - start, _stretch((start, stop), name, shown=shown)))
    found.sort(key=lambda item: -item[0])
    largest = sorted(steps, key=lambda step: -abs(step.after - step.before))
    marks = [mark for _, mark in found]
    marks += [
        PlotRule("x", step.time / 60, f"{step.before:.3g} → {step.after:.3g} V") for step in largest
    ]
    return tuple(marks[:MOST_MARKS])


def _shown_s(happenings: Happenings) -> float:
    """Last moment [s] at which anything is known to have happened."""
    ends = [
        *(stage.end for stage in happenings.stages),
        *(stop for _, stop in (*happenings.gaps, *happenings.dropouts)),
    ]
    return max(ends, default=0.0)


def _stretch(span: Span, name: str, *, shown: float) -> Mark:
    start, stop = span
    if stop - start < _NARROW_SHARE * shown:
        return PlotRule("x", start / 60, name)
    return PlotBand(start / 60, stop / 60, name)
