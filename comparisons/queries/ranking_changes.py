"""What changed in a ranking between two moments, told apart by cause."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q

from catalog.models import Adapter, Viewer
from catalog.queries import as_one_parameter
from comparisons.queries.cohorts import (
    READ_AT_ONCE,
    Cohort,
    Filters,
    load_cohorts,
    standing_values,
)
from measurements.models import Amendment, Value

# What may have changed, in the order in which it is listed: the words of its heading.
CAUSES = {
    "new": "New adapters",
    "first": "In the history before, new to this ranking",
    "comparable": "Set apart before, comparable now",
    "retest": "Tested again",
    "method": "By another version of the method",
    "table": "By another table of results",
    "filled": "Measured here before, from a table now",
    "measured": "From a table before, measured here now",
    "corrected": "Corrected: the same record, described or computed anew",
    "catalogue": "Catalogue entry changed",
    "replaced": "Run withdrawn, another stands in its place",
    "described": "Description of the run corrected, another stands in its place",
    "withdrawn": "Run withdrawn, no longer ranked",
    "apart": "No longer comparable, set apart",
    "amended": "Description corrected, no longer under this condition",
    "gone": "No longer counted",
}

# Rows that are listed of each cause; how many there are in all stands in its heading.
LISTED = 25


@dataclass(frozen=True, slots=True)
class Side:
    """A value at one of the two moments, in the metric's unit, with its rank then."""

    value: float
    rank: int
    method: str
    run_id: UUID | None
    table_id: UUID | None


@dataclass(frozen=True, slots=True)
class Change:
    """One adapter's value before and after; None where it had no place."""

    adapter: Adapter
    before: Side | None
    after: Side | None

    @property
    def sides(self) -> tuple[Side | None, Side | None]:
        """Before and after."""
        return self.before, self.after

    @property
    def methods(self) -> str:
        """The version of the method, or the two: ``1 → 2``."""
        return " → ".join(dict.fromkeys(side.method for side in self.sides if side))


@dataclass(frozen=True, slots=True)
class Changes:
    """All changes of one cause: their number, and the first of them by rank."""

    cause: str
    count: int
    listed: tuple[Change, ...]

    @property
    def title(self) -> str:
        """The cause in words."""
        return CAUSES[self.cause]


@dataclass(frozen=True, slots=True)
class RankingChanges:
    """What lies between two moments of a ranking.

    `moved` is the number of adapters whose own value stayed while their rank did not.
    """

    groups: tuple[Changes, ...]
    moved: int


@dataclass(frozen=True, slots=True)
class _Origin:
    """Where a value comes from, and whether its run was withdrawn since."""

    method: str
    run_id: UUID | None
    table_id: UUID | None
    is_withdrawn: bool


@dataclass(frozen=True, slots=True)
class _Moved:
    """An adapter with its positions in the two cohorts."""

    adapter_id: int
    before: int | None
    after: int | None


def ranking_changes(
    after: Cohort,
    *,
    since: datetime,
    viewer: Viewer,
    filters: Filters | None = None,
    as_of: datetime | None = None,
    tables: bool = False,
) -> RankingChanges:
    """How the cohort `after`, of `as_of` or of now, came out of the one that stood at `since`.

    Filters and embargoes go by what is known of adapters today, at both moments. A fixed number
    of queries; they read what changed, and names only of what is listed.
    """
    before = load_cohorts(
        [(after.metric, after.condition)],
        viewer=viewer,
        filters=filters,
        as_of=since,
        tables=tables,
    )[after.metric.key, after.condition.key]
    origins = _origins(after, since=since, as_of=as_of)
    found = _differences(before, after, origins)
    reasons = _Reasons.read(found, after, since=since, viewer=viewer, as_of=as_of)
    groups: dict[str, list[_Moved]] = {cause: [] for cause in CAUSES}
    for change in found:
        groups[_cause(change, before, after, origins, reasons)].append(change)
    listed = [change.adapter_id for group in groups.values() for change in group[:LISTED]]
    adapters = Adapter.objects.select_related("maker").in_bulk(listed)
    return RankingChanges(
        groups=tuple(
            Changes(
                cause=cause,
                count=len(group),
                listed=tuple(
                    Change(
                        adapter=adapters[change.adapter_id],
                        before=_side(before, change.before, origins),
                        after=_side(after, change.after, origins),
                    )
                    for change in group[:LISTED]
                ),
            )
            for cause, group in groups.items()
            if group
        ),
        moved=_moved_by_others(before, after, {change.adapter_id for change in found}),
    )


def _origins(after: Cohort, *, since: datetime, as_of: datetime | None) -> dict[int, _Origin]:
    """Of every value that stood at one of the two moments but not at both, by its id."""
    begun = Q(current_from__gt=since)
    ended = Q(current_until__isnull=False) if as_of is None else Q(current_until__lte=as_of)
    rows = Value.objects.filter(
        Q(current_until=None) | Q(current_until__gt=since),
        # A result of a table may stand at both and give its place to a measured one.
        begun | ended | Q(table__isnull=False),
        metric=after.metric.key,
        condition_key=after.condition.key,
        current_from__isnull=False,
    ).values_list("pk", "method", "run_id", "table_id", "run__withdrawn_at")
    return {
        pk: _Origin(
            method,
            run_id,
            table_id,
            is_withdrawn=gone is not None and (as_of is None or gone <= as_of),
        )
        for pk, method, run_id, table_id, gone in rows.iterator(chunk_size=READ_AT_ONCE)
    }


def _differences(before: Cohort, after: Cohort, origins: Mapping[int, _Origin]) -> list[_Moved]:
    """Adapters whose value is another one or stands on one side only, each side by rank."""
    earlier = {pk: position for position, pk in enumerate(before.adapter_ids.tolist())}
    found = []
    for position, adapter_id in enumerate(after.adapter_ids.tolist()):
        place = earlier.pop(adapter_id, None)
        if place is None or not _is_same(before, place, after, position, origins):
            found.append(_Moved(adapter_id, place, position))
    found += [_Moved(adapter_id, place, None) for adapter_id, place in earlier.items()]
    return found


def _is_same(
    before: Cohort, place: int, after: Cohort, position: int, origins: Mapping[int, _Origin]
) -> bool:
    """Whether it is one value, or one that was closed and stands again as it was."""
    old, new = int(before.value_ids[place]), int(after.value_ids[position])
    if old == new:
        return True
    return bool(
        before.values[place] == after.values[position]
        and _source(origins[old]) == _source(origins[new])
    )


def _source(origin: _Origin) -> tuple[str, UUID | None, UUID | None]:
    return origin.method, origin.run_id, origin.table_id


@dataclass(frozen=True, slots=True)
class _Reasons:
    """Ids of what explains a change: adapters known before, set apart then or now, runs amended."""

    known_before: frozenset[int]
    apart_before: frozenset[int]
    apart_after: frozenset[int]
    amended: frozenset[UUID]

    @classmethod
    def read(
        cls,
        found: list[_Moved],
        after: Cohort,
        *,
        since: datetime,
        viewer: Viewer,
        as_of: datetime | None,
    ) -> _Reasons:
        """In four queries."""
        entered = [change.adapter_id for change in found if change.before is None]
        here = {"metric": after.metric.key, "condition_key": after.condition.key}

        def apart(moment: datetime | None) -> frozenset[int]:
            values = standing_values(viewer=viewer, as_of=moment).filter(**here)
            return frozenset(values.exclude(apart="").values_list("adapter", flat=True))

        earlier = Value.objects.filter(
            adapter__in=as_one_parameter(entered), current_from__lte=since
        )
        amended = Amendment.objects.filter(
            at__gt=since, run__values__in=Value.objects.filter(**here)
        )
        if as_of is not None:
            amended = amended.filter(at__lte=as_of)
        return cls(
            known_before=frozenset(earlier.values_list("adapter", flat=True).distinct()),
            apart_before=apart(since),
            apart_after=apart(as_of),
            amended=frozenset(amended.values_list("run", flat=True)),
        )


def _cause(
    change: _Moved,
    before: Cohort,
    after: Cohort,
    origins: Mapping[int, _Origin],
    reasons: _Reasons,
) -> str:
    """Which of `CAUSES` it is."""
    if change.before is None:
        if change.adapter_id in reasons.apart_before:
            return "comparable"
        return "first" if change.adapter_id in reasons.known_before else "new"
    old = origins[int(before.value_ids[change.before])]
    if change.after is None:
        return _cause_to_leave(old, change.adapter_id, reasons)
    return _cause_to_differ(old, origins[int(after.value_ids[change.after])], reasons)


def _cause_to_leave(old: _Origin, adapter_id: int, reasons: _Reasons) -> str:
    if old.is_withdrawn:
        return "withdrawn"
    if adapter_id in reasons.apart_after:
        return "apart"
    return "amended" if old.run_id in reasons.amended else "gone"


def _cause_to_differ(old: _Origin, new: _Origin, reasons: _Reasons) -> str:
    if new.table_id is not None:
        return "filled" if old.table_id is None else "table"
    if old.is_withdrawn:
        return "replaced"
    if old.table_id is not None:
        return "measured"
    if old.method != new.method:
        return "method"
    if new.run_id is None:
        return "catalogue"
    another = "described" if old.run_id in reasons.amended else "retest"
    return "corrected" if old.run_id == new.run_id else another


def _side(cohort: Cohort, position: int | None, origins: Mapping[int, _Origin]) -> Side | None:
    if position is None:
        return None
    origin = origins[int(cohort.value_ids[position])]
    return Side(
        value=float(cohort.values[position]),
        rank=int(cohort.places.rank[position]),
        method=origin.method,
        run_id=origin.run_id,
        table_id=origin.table_id,
    )


def _moved_by_others(before: Cohort, after: Cohort, changed: set[int]) -> int:
    """How many stayed as they were and have another rank all the same."""
    ranks = dict(zip(before.adapter_ids.tolist(), before.places.rank.tolist(), strict=True))
    return sum(
        ranks[adapter_id] != rank
        for adapter_id, rank in zip(
            after.adapter_ids.tolist(), after.places.rank.tolist(), strict=True
        )
        if adapter_id not in changed
    )
