"""The rows of a device's table: protocol and power reached, milestones, and their runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal
from uuid import UUID

import numpy as np

from catalog.models import Adapter, Device, Viewer
from comparisons.queries.cohorts import Filters, results_of_tables, standing_values
from comparisons.queries.device_trials import METRICS, MILESTONES, PEAK, POWER, Trials
from comparisons.ranking import FloatArray
from measurements.kinds.base import Condition
from measurements.kinds.device_match.pairs import Pair, pairs_from_facts
from measurements.models import Run, Value

Sort = Literal["power", "volume", "mass", "charge-to-50", "charge-to-80", "charge-to-full"]
Speed = Literal["", "full", "slow", "near"]

SORTS: Mapping[Sort, str] = {
    "power": "power drawn, most first",
    "volume": "volume, smallest first",
    "mass": "mass, lightest first",
    "charge-to-50": "time to 50 %",
    "charge-to-80": "time to 80 %",
    "charge-to-full": "time to full",
}
_KEYS: Mapping[Sort, Callable[[Trials], FloatArray]] = {
    "power": lambda trials: -trials.power_w,
    "volume": lambda trials: trials.sizes.volume_cm3,
    "mass": lambda trials: trials.sizes.mass_g,
    "charge-to-50": lambda trials: trials.times["charge-to-50"],
    "charge-to-80": lambda trials: trials.times["charge-to-80"],
    "charge-to-full": lambda trials: trials.times["charge-to-full"],
}


@dataclass(frozen=True, slots=True)
class TrialRow:
    """An adapter and what the device did on it; None where nothing stands.

    `pair` is the port with the highest power, with the protocol that was seen there. `share` [1]
    is of the device's best; `times` the milestones in their order, `charge` the peak power of
    the same charge. Values may be set apart.
    """

    adapter: Adapter
    power: Value | None
    pair: Pair | None
    share: float | None
    full: bool
    sure: bool
    stated: bool
    times: tuple[Value | None, ...]
    charge: Value | None


def chosen_trials(trials: Trials, *, speed: Speed, sort: Sort) -> Trials:
    """The trials of one speed, in order; what is not known comes last, equals as entered."""
    if speed:
        known = trials.has_power & ~np.isnan(trials.share)
        wanted = {"full": trials.full, "slow": ~trials.full, "near": trials.stated & ~trials.sure}[
            speed
        ]
        trials = trials.only(known & wanted)
    return trials.only(np.argsort(_KEYS[sort](trials), kind="stable"))


def trial_rows(
    trials: Trials, *, viewer: Viewer, tables: bool, start: int = 0, limit: int | None = None
) -> tuple[TrialRow, ...]:
    """`limit` rows from row `start`, in three queries."""
    shown = trials.only(np.arange(len(trials))[start : None if limit is None else start + limit])
    ids = shown.adapter_ids.tolist()
    adapters = Adapter.objects.select_related("maker").in_bulk(ids)
    values = _values(trials, ids, viewer=viewer, tables=tables)
    pairs = _pairs(trials.device.slug, (held.get(POWER) for held in values.values()))
    return tuple(
        TrialRow(
            adapter=adapters[pk],
            power=values[pk].get(POWER),
            pair=pairs.get(pk),
            share=None if np.isnan(shown.share[at]) else float(shown.share[at]),
            full=bool(shown.full[at]),
            sure=bool(shown.sure[at]),
            stated=bool(shown.stated[at]),
            times=tuple(values[pk].get(key) for key in MILESTONES),
            charge=values[pk].get(PEAK),
        )
        for at, pk in enumerate(ids)
    )


def _values(
    trials: Trials, ids: list[int], *, viewer: Viewer, tables: bool
) -> dict[int, dict[str, Value]]:
    """What stands of each adapter by metric; a comparable value before one set apart."""
    found: dict[int, dict[str, Value]] = {pk: {} for pk in ids}
    rows = standing_values(viewer=viewer, as_of=None, tables=tables).filter(
        adapter__in=ids,
        metric__in=METRICS,
        condition_key=Condition(device=trials.device.slug).key,
    )
    for value in rows.order_by("apart", "pk"):
        found[value.adapter_id].setdefault(value.metric, value)
    return found


def _pairs(device: str, powers: Iterable[Value | None]) -> dict[int, Pair]:
    """The strongest pair of each adapter with the device, from the runs of its powers."""
    runs = {value.run_id: value.adapter_id for value in powers if value and value.run_id}
    kept: Iterable[tuple[UUID, Any]] = Run.objects.filter(pk__in=list(runs)).values_list(
        "pk", "details__facts__pairs"
    )
    strongest: dict[int, Pair] = {}
    for run_id, held in kept:
        pairs = [pair for pair in pairs_from_facts({"pairs": held or ()}) if pair.device == device]
        if pairs:
            strongest[runs[run_id]] = max(pairs, key=lambda pair: pair.power_w)
    return strongest


@dataclass(frozen=True, slots=True)
class Untried:
    """Adapters that pass the filters and have no measured trial: the first by name, and how many.

    `of_tables` is how many results of tables there are beside the measured ones.
    """

    named: tuple[Adapter, ...]
    count: int
    of_tables: int


def untried(
    device: Device, *, viewer: Viewer, filters: Filters, tables: bool, named: int
) -> Untried:
    """Who was never tried with the device, in three queries."""
    key = Condition(device=device.slug).key
    standing = standing_values(viewer=viewer, as_of=None, tables=tables)
    left = filters.adapters_among(Adapter.objects.visible_to(viewer))
    # One look into an index each; every charge gives its peak power, comparable or not.
    for part in (
        standing.filter(metric=POWER, condition_key=key, apart=""),
        standing.filter(metric=PEAK, condition_key=key, apart=""),
        standing.filter(metric__in=METRICS, condition_key=key).exclude(apart=""),
    ):
        left = left.exclude(pk__in=part.values("adapter"))
    listed = left.select_related("maker").order_by("maker__name", "name", "pk")[:named]
    of_tables = results_of_tables(viewer=viewer, as_of=None).filter(
        metric__in=METRICS, condition_key=key
    )
    return Untried(tuple(listed), left.count(), of_tables.count())
