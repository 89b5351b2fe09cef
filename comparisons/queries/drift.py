"""What has changed since a comparison was frozen. The frozen table itself stays as it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef

from comparisons.models import Comparison
from comparisons.queries.blocks import runs_of_block
from comparisons.queries.tables import Cell, comparison_table
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Amendment, Run
from measurements.queries import condition_in_words


@dataclass(frozen=True, slots=True)
class Newer:
    """A cell that would read otherwise today. `was` and `now` [unit]; None: no value.

    `now_apart` is why the new value is set apart, `run` is where it comes from.
    """

    title: str
    condition: str
    adapter: str
    unit: str
    decimals: int
    was: float | None
    now: float | None
    now_apart: str
    run: str | None


@dataclass(frozen=True, slots=True)
class Drift:
    """Cells that differ today, and sentences on methods and drawings that have changed since."""

    cells: tuple[Newer, ...]
    methods: tuple[str, ...]
    drawings: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """How many values are newer, in words; empty for none."""
        count = len(self.cells)
        if not count:
            return ""
        return f"{count} value{' is' if count == 1 else 's are'} newer than this table."


def drift_of(comparison: Comparison) -> Drift:
    """What readers would see otherwise today than in a published comparison.

    Two queries, and a third one where something is drawn beside the table.

    Adapters that went back under embargo are left out: readers may not know of them.
    """
    frozen: Mapping[str, Any] = comparison.frozen or {"rows": [], "adapters": []}
    columns = comparison.columns.select_related("adapter__maker")
    by_slug = {column.adapter.slug: column.adapter for column in columns}
    names = {item["slug"]: f"{item['maker']} {item['name']}" for item in frozen["adapters"]}
    known = [slug for slug in names if slug in by_slug and by_slug[slug].is_published]
    table = comparison_table(
        [by_slug[slug] for slug in known],
        metrics=comparison.metrics,
        conditions=comparison.conditions,
        viewer=None,
        tables=comparison.with_tables,
        metric_conditions=comparison.metric_conditions,
    )
    today: dict[tuple[str, str, str], Cell] = {}
    conditions: dict[tuple[str, str], Condition] = {}
    for row in table.rows:
        conditions[row.metric.key, row.condition.key] = row.condition
        for slug, cell in zip(known, row.cells, strict=True):
            if cell is not None:
                today[row.metric.key, row.condition.key, slug] = cell
    then: dict[tuple[str, str, str], Mapping[str, Any]] = {}
    for frozen_row in frozen["rows"]:
        condition = Condition(**frozen_row["condition"])
        conditions[frozen_row["metric"], condition.key] = condition
        for item, held in zip(frozen["adapters"], frozen_row["cells"], strict=True):
            if held is not None and item["slug"] in known:
                then[frozen_row["metric"], condition.key, item["slug"]] = held
    cells = []
    for place in dict.fromkeys((*then, *today)):
        metric, condition_key, slug = place
        if metric not in all_metrics() or not _differs(then.get(place), today.get(place)):
            continue
        declared, now, was = all_metrics()[metric], today.get(place), then.get(place)
        parts = conditions[metric, condition_key]
        cells.append(
            Newer(
                title=declared.title,
                condition=condition_in_words(parts) if parts.as_json() else "",
                adapter=names[slug],
                unit=declared.unit,
                decimals=declared.decimals,
                was=None if was is None else was["value"],
                now=None if now is None else now.value,
                now_apart="" if now is None else now.apart,
                run=str(now.run_id) if now is not None and now.run_id else None,
            )
        )
    return Drift(tuple(cells), tuple(_newer_methods(frozen)), tuple(_older_drawings(frozen)))


def _older_drawings(frozen: Mapping[str, Any]) -> Iterator[str]:
    """Drawings of runs that have been superseded, withdrawn or amended since."""
    blocks = {block["key"]: runs_of_block(block) for block in frozen.get("blocks", ())}
    runs = {run for found in blocks.values() for run in found.values()}
    if not runs:
        return
    amended = Amendment.objects.filter(run=OuterRef("pk"), at__gt=frozen["published_at"])
    as_drawn = Run.objects.filter(~Exists(amended), pk__in=runs, standing=Run.Standing.ACCEPTED)
    standing = {str(pk) for pk in as_drawn.values_list("pk", flat=True)}
    for block in frozen["blocks"]:
        gone = len(set(blocks[block["key"]].values()) - standing)
        if gone:
            yield (
                f"{gone} run{' is' if gone == 1 else 's are'} drawn under “{block['title']}” that "
                f"{'was' if gone == 1 else 'were'} superseded, withdrawn or amended since."
            )


def _differs(was: Mapping[str, Any] | None, now: Cell | None) -> bool:
    if was is None or now is None:
        return (was is None) != (now is None)
    run = str(now.run_id) if now.run_id else None
    return (was["value"], was["run"], was["apart"]) != (now.value, run, now.apart)


def _newer_methods(frozen: Mapping[str, Any]) -> Iterator[str]:
    used: dict[str, set[str]] = {}
    for row in frozen["rows"]:
        used.setdefault(row["metric"], set()).update(
            cell["method"]
            for cell in row["cells"]
            if cell is not None and cell.get("source") != "table"
        )
    for key, versions in used.items():
        metric = all_metrics().get(key)
        older = sorted(versions - {metric.method}) if metric is not None else []
        if metric is not None and older:
            yield (
                f"{metric.title} is computed by method {metric.method} now; this table holds "
                f"{', '.join(older)}."
            )
