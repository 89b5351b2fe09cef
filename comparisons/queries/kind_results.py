"""What every method found of an adapter: the run to look at first, its chart, its warnings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from measurements.kinds import all_kinds
from measurements.kinds.base import Kind
from measurements.models import Flag, Run


@dataclass(frozen=True, slots=True)
class KindResult:
    """The accepted runs of one kind, of which `run` is shown: the newest at 230 V, if any was.

    `finding` is the title of its chart, "" for a run without one; `warnings` are what its
    computation remarked.
    """

    kind: Kind
    run: Run
    finding: str
    warnings: tuple[str, ...]
    others: tuple[Run, ...]


def kind_results(runs: Sequence[Run]) -> tuple[KindResult, ...]:
    """The accepted runs of an adapter, newest first, kind by kind. Two queries."""
    accepted: dict[str, list[Run]] = {}
    for run in runs:
        if run.standing == Run.Standing.ACCEPTED:
            accepted.setdefault(run.kind, []).append(run)
    shown = {
        slug: next((run for run in held if run.line == "high"), held[0])
        for slug, held in accepted.items()
    }
    ids = [run.pk for run in shown.values()]
    plots = dict(Run.objects.filter(pk__in=ids).values_list("pk", "plot"))
    warnings: dict[object, list[str]] = {}
    flags = Flag.objects.filter(run__in=ids, severity="warning").order_by("pk")
    for run_id, detail in flags.values_list("run", "detail"):
        warnings.setdefault(run_id, []).append(detail)
    return tuple(
        KindResult(
            kind=kind,
            run=shown[kind.slug],
            finding=(plots.get(shown[kind.slug].pk) or {}).get("title", ""),
            warnings=tuple(warnings.get(shown[kind.slug].pk, ())),
            others=tuple(run for run in accepted[kind.slug] if run is not shown[kind.slug]),
        )
        for kind in all_kinds()
        if kind.slug in accepted
    )
