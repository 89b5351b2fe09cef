"""What every method asks for of an adapter, and what of it is there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from catalog.models import Adapter, Viewer
from measurements.kinds import all_kinds
from measurements.kinds.base import (
    Kind,
    PlannedRun,
    Setup,
)
from measurements.kinds.coverage import all_points, held_points
from measurements.models import Run, line_of
from measurements.queries.setups import adapter_facts, devices_known


@dataclass(frozen=True, slots=True)
class Planned:
    """A run that a method asks for, and what of it was handed in.

    `held` are the planned points, counted from 0, that accepted runs hold, `waiting` those that
    only runs not yet computed or judged hold. `run` holds the most of them; None without any.
    """

    kind: Kind
    asked: PlannedRun
    held: frozenset[int] = frozenset()
    waiting: frozenset[int] = frozenset()
    run: Run | None = None

    @property
    def state(self) -> Literal["accepted", "waiting", "partly", "missing"]:
        """Whether values stand from all its points, or wait, or some are there, or none."""
        if not self.held and not self.waiting:
            return "missing"
        if self.lacking:
            return "partly"
        return "waiting" if self.waiting else "accepted"

    @property
    def lacking(self) -> tuple[int, ...]:
        """The points that no run holds."""
        return tuple(sorted(all_points(self.asked) - self.held - self.waiting))


def plan_setup(adapter: Adapter) -> Setup:
    """What plans are made from: the adapter and the reference devices."""
    return Setup(adapter=adapter_facts(adapter), devices=devices_known(listed=True))


def planned_runs(adapter: Adapter, *, viewer: Viewer) -> tuple[Planned, ...]:
    """What every method asks for of an adapter, with what is there already.

    Several runs may hold the points of a planned one, and one run those of several. An accepted
    run answers before one that waits, a newer one before an older.
    """
    setup = plan_setup(adapter)
    ports = setup.adapter.ports
    only = ports[0].label if len(ports) == 1 else ""
    runs = sorted(
        Run.objects.visible_to(viewer)
        .filter(adapter=adapter, standing__in=[Run.Standing.ACCEPTED, Run.Standing.PROVISIONAL])
        .exclude(state=Run.State.REJECTED)
        .select_related("port")
        .defer("trace", "plot", "problems", "reading_notes")
        .order_by("-id"),
        key=lambda run: run.standing != Run.Standing.ACCEPTED,
    )
    return tuple(
        _planned(kind, asked, [run for run in runs if _answers(run, kind, asked, only=only)])
        for kind in leaders_first(all_kinds())
        for asked in kind.plan(setup)
    )


def leaders_first(kinds: Sequence[Kind]) -> list[Kind]:
    """Kinds whose runs others read come first: they settle the points of the rest."""
    followed = {slug for kind in kinds for slug in kind.follows}
    return sorted(kinds, key=lambda kind: kind.slug not in followed)


def _planned(kind: Kind, asked: PlannedRun, runs: Iterable[Run]) -> Planned:
    """The planned run with the points that these runs hold, the accepted ones first."""
    points = {run: held_points(asked, facts=run.details.get("facts", {})) for run in runs}
    holding = {run: found for run, found in points.items() if found}
    held: frozenset[int] = frozenset().union(
        *(found for run, found in holding.items() if run.standing == Run.Standing.ACCEPTED)
    )
    return Planned(
        kind,
        asked,
        held=held,
        waiting=frozenset().union(*holding.values()) - held,
        run=max(holding, key=lambda run: len(holding[run]), default=None),
    )


def _loaded(run: Run, *, only: str) -> str:
    """The port of a run; of an adapter with a single one, `only`, it need not be said."""
    return run.port.label if run.port is not None else only


def _answers(run: Run, kind: Kind, asked: PlannedRun, *, only: str) -> bool:
    said = asked.fields
    mains_v, port, device = said.get("mains_v"), said.get("port"), said.get("device")
    return (
        run.kind == kind.slug
        and (not mains_v or run.line == line_of(float(mains_v)))
        and (not port or _loaded(run, only=only) == port)
        and (not device or run.method_fields.get("device") == device)
    )
