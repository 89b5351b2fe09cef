"""``recompute``: values from the stored raw files with the methods of today."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from catalog.models import Adapter
from measurements import processing
from measurements.kinds import all_kinds
from measurements.management.progress import bar
from measurements.models import Run

Numbers = dict[tuple[str, str], tuple[float, float, str, str]]


def _numbers(run: Run) -> Numbers:
    """What the run says now: value, uncertainty, method and reservation of each condition."""
    return {
        (metric, key): (value, uncertainty, method, apart)
        for metric, key, value, uncertainty, method, apart in run.values.filter(
            current_until=None
        ).values_list("metric", "condition_key", "value", "standard_uncertainty", "method", "apart")
    }


def _leaders_first(runs: Any) -> list[Any]:
    """The runs to compute; those that others read come before the runs that read them."""
    followed = {slug for kind in all_kinds() for slug in kind.follows}
    found = list(runs.order_by("pk").values_list("pk", "kind"))
    return [run_id for run_id, _ in sorted(found, key=lambda item: item[1] not in followed)]


class Command(BaseCommand):
    """Compute runs again; what readers have seen stays in the history."""

    help = (
        "Recomputes runs that are not withdrawn from their raw files. Runs that were set aside "
        "are tried again too."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Which runs."""
        parser.add_argument("--kind", default="", help="only runs of this kind")
        parser.add_argument("--adapter", default="", metavar="SLUG", help="only of this adapter")

    def handle(self, *args: Any, **options: Any) -> None:
        """Recompute and say how many values changed; fails when a run could not be computed."""
        chosen = self._chosen(options)
        if elsewhere := chosen.filter(raw__held=False).count():
            self.stdout.write(f"{elsewhere} runs left out: their raw files are not held here.")
        ids = _leaders_first(chosen.filter(raw__held=True))
        changed, states = 0, dict.fromkeys((str(state) for state in Run.State.values), 0)
        for run_id in bar(ids, total=len(ids), what="Recomputing", unit="runs"):
            run = Run.objects.get(pk=run_id)
            before = _numbers(run)
            states[processing.compute(run_id, again=True)] += 1
            after = _numbers(run)
            changed += sum(before.get(key) != after.get(key) for key in before | after)
        self.stdout.write(f"{len(ids)} runs recomputed, {changed} values changed.")
        self.stdout.write(", ".join(f"{count} {state}" for state, count in states.items() if count))
        left = len(ids) - states[Run.State.READY] - states[Run.State.REJECTED]
        if left:
            raise CommandError(
                f"{left} runs could not be computed now: another worker holds them, or an error "
                "is noted on their pages."
            )

    def _chosen(self, options: dict[str, Any]) -> Any:
        runs = Run.objects.exclude(standing=Run.Standing.WITHDRAWN)
        if kind := options["kind"]:
            slugs = [item.slug for item in all_kinds()]
            if kind not in slugs:
                raise CommandError(f"“{kind}” is not a kind of run; there are {', '.join(slugs)}.")
            runs = runs.filter(kind=kind)
        if slug := options["adapter"]:
            if not Adapter.objects.filter(slug=slug).exists():
                raise CommandError(f"No adapter is called “{slug}”.")
            runs = runs.filter(adapter__slug=slug)
        return runs
