"""What an overlay of charges says in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from comparisons.queries.charge_comparability import Axis, Pair
from comparisons.queries.charge_differences import Difference
from measurements.kinds.instruments import listed
from measurements.metrics.curves import CurveDifference

_SHOWN_W = 0.005


def names_of(items: Sequence[Difference]) -> str:
    """Quantities within a sentence; empty for none."""
    return listed(item.metric.title[0].lower() + item.metric.title[1:] for item in items)


def time_finding(differing: str, *, judged: bool, why_not: str) -> str:
    """The verdict on times, energies and powers as a clause; `differing` are their names."""
    if why_not:
        return f"times and energies are not compared because {why_not}"
    if not judged:
        return "nothing of it can be compared with the reference"
    if not differing:
        return "it does not differ from the reference by more than repeating it would"
    return f"it differs from the reference in {differing}"


def level_finding(against: CurveDifference | None, *, why_not: str) -> str:
    """The distance by battery level as a clause. It is no verdict: it has no U."""
    if against is None:
        return f"by battery level it is not compared because {why_not}"
    if abs(against.mean) < _SHOWN_W:
        return "by battery level its power is the reference’s on average (no verdict)"
    side = "above" if against.mean > 0 else "below"
    return (
        f"by battery level its power lies {abs(against.mean):.2f} W {side} the reference’s on "
        "average (no verdict)"
    )


def warnings_on(
    pairs: Sequence[Pair], *, levels: Mapping[str, str | None], repeated: bool, by: Axis
) -> tuple[str, ...]:
    """What must not be compared. `levels` tells where the level of each curve comes from."""
    found = []
    for pair in pairs:
        if reason := pair.why_no_times:
            elsewhere = by == "time" and not pair.why_no_curves("level")
            found.append(
                f"{pair.one.name} beside the reference: {reason}. Times and energies are not "
                f"compared{'; look at them by battery level instead' if elsewhere else ''}."
            )
        elif reason := pair.why_no_energy:
            found.append(
                f"{pair.one.name} beside the reference: {reason}. Energy and mean power are not "
                "compared."
            )
    if by == "level" and (inferred := _inferred_over_measured(levels)):
        found.append(
            f"The battery level of {listed(inferred)} is inferred from the charge and counts as "
            "0 % at the start; the others’ was told by the device. Where the battery was not "
            "empty the curves are shifted and stretched against each other."
        )
    if not repeated:
        found.append(
            "No charge of this device was repeated, so that the bench's repeatability is not "
            "known: differences are judged by the uncertainty of measurement alone."
        )
    return tuple(found)


def _inferred_over_measured(levels: Mapping[str, str | None]) -> list[str]:
    """Curves with an inferred level, if any other has one that the device told."""
    if "battery" not in levels.values():
        return []
    return [label for label, source in levels.items() if source == "charge"]
