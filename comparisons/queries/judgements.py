"""What the verdicts of runs say about placed values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from comparisons.queries.bands import SHORT_TITLES, TIERS
from comparisons.queries.placements import Placement
from measurements.models import Verdict
from measurements.standards import usb_pd_output_tolerance

# Short names of the schemes, as they fit beside a value; in the order in which they are shown.
SCHEME_WORDS = {
    **{scheme: SHORT_TITLES[scheme] for scheme, _ in reversed(TIERS)},
    "iec-62368-1": "IEC 62368-1 touch",
    usb_pd_output_tolerance.KEY: "USB PD ± 5 %",
}

# Headroom is what is left to the touch limit: the verdicts on the sensors decide, and the
# limit lies at zero.
JUDGED_BY_SENSORS = {"thermal-headroom": "surface-temperature"}

_GRAVITY = {"fail": 0, "undecided": 1, "pass": 2}


@dataclass(frozen=True, slots=True)
class Judgement:
    """One scheme's verdict on a placed value; `limit` and `margin` in the metric's unit.

    Two values may rest on one verdict, as a headroom and the sensor that decides it do.
    """

    verdict_id: int
    scheme: str
    words: str
    outcome: str
    limit: float
    margin: float
    deviations: tuple[str, ...]


def judgements(placements: Iterable[Placement]) -> dict[tuple[str, str], tuple[Judgement, ...]]:
    """Verdicts of every scheme on the values, by (metric key, condition key), in one query.

    Those on values set apart are left out: beside one a comparable value of the same metric and
    condition may stand, and what was said of the one is not said of the other.
    """
    placed = [item for item in placements if item.run_id is not None and not item.apart]
    if not placed:
        return {}
    by_value: dict[tuple[object, str, str], list[Verdict]] = {}
    by_quantity: dict[tuple[object, str], list[Verdict]] = {}
    for verdict in Verdict.objects.filter(run__in={item.run_id for item in placed}).order_by("pk"):
        exact = (verdict.run_id, verdict.quantity, verdict.condition_key)
        by_value.setdefault(exact, []).append(verdict)
        by_quantity.setdefault((verdict.run_id, verdict.quantity), []).append(verdict)
    found = {}
    for item in placed:
        key = item.metric.key
        if key in JUDGED_BY_SENSORS:
            sensors = by_quantity.get((item.run_id, JUDGED_BY_SENSORS[key]), [])
            found[key, item.condition.key] = _of_sensors(sensors)
        else:
            verdicts = by_value.get((item.run_id, key, item.condition.key), [])
            found[key, item.condition.key] = _ordered(
                _judgement(verdict, limit=verdict.limit) for verdict in verdicts
            )
    return found


def each_once(found: Iterable[Judgement]) -> list[Judgement]:
    """The judgements without those that rest on a verdict that came before."""
    return list({item.verdict_id: item for item in found}.values())


def nearest(found: Iterable[Judgement]) -> Judgement | None:
    """The judgement whose limit lies nearest to the value: the one worth drawing."""
    return min(found, key=lambda item: abs(item.margin), default=None)


def _of_sensors(verdicts: Iterable[Verdict]) -> tuple[Judgement, ...]:
    """One judgement a scheme, from the sensor that fares worst."""
    worst: dict[str, Verdict] = {}
    for verdict in verdicts:
        held = worst.get(verdict.scheme)
        if held is None or _rank(verdict) < _rank(held):
            worst[verdict.scheme] = verdict
    return _ordered(_judgement(verdict, limit=0.0) for verdict in worst.values())


def _rank(verdict: Verdict) -> tuple[int, float]:
    return _GRAVITY[verdict.outcome], verdict.margin


def _judgement(verdict: Verdict, *, limit: float) -> Judgement:
    return Judgement(
        verdict_id=verdict.pk,
        scheme=verdict.scheme,
        words=SCHEME_WORDS.get(verdict.scheme, verdict.scheme),
        outcome=verdict.outcome,
        limit=limit,
        margin=verdict.margin,
        deviations=tuple(verdict.deviations),
    )


def _ordered(found: Iterable[Judgement]) -> tuple[Judgement, ...]:
    order = {scheme: position for position, scheme in enumerate(SCHEME_WORDS)}
    return tuple(sorted(found, key=lambda item: order.get(item.scheme, len(order))))
