"""Tables as CSV (RFC 4180): one header line, numbers as numbers, text that runs nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from django.utils.text import slugify

from comparisons.queries.rankings import Ranking
from comparisons.ranking import expanded
from measurements.kinds.base import Condition
from measurements.queries import condition_in_words

# A spreadsheet takes a text cell that starts so for a formula (ASVS 5.0, 1.2.10).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")

Row = Sequence[str | float | int]


def text_cell(text: str) -> str:
    """A text cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def csv_response(rows: Iterator[Row], *, name: str) -> HttpResponse:
    """The rows as a download called after `name`."""
    text = io.StringIO()
    writer = csv.writer(text)
    for row in rows:
        writer.writerow([text_cell(cell) if isinstance(cell, str) else cell for cell in row])
    return HttpResponse(
        text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{slugify(name) or "table"}.csv"'},
    )


def ranking_rows(found: Ranking | None) -> Iterator[Row]:
    """A header and one row an adapter, best first."""
    yield (
        "rank",
        "adapter",
        "maker",
        "name",
        "metric",
        "condition",
        "value",
        "unit",
        "expanded_uncertainty_k2",
        "percentile",
        "near_ties",
        "run",
        "method",
        "source",
    )
    if found is None:
        return
    metric = found.cohort.metric
    for row in found.rows:
        yield (
            row.rank,
            row.adapter.slug,
            row.adapter.maker.name,
            row.adapter.name,
            metric.key,
            found.cohort.condition.key,
            row.value,
            metric.unit,
            "" if row.expanded_uncertainty is None else row.expanded_uncertainty,
            row.percentile,
            row.near_tie_count,
            str(row.run_id) if row.run_id else "",
            row.method,
            row.source,
        )


def comparison_rows(frozen: Mapping[str, Any]) -> Iterator[Row]:
    """A header and one row a cell of a table made by `as_frozen`, empty where not tested."""
    yield (
        "metric",
        "title",
        "condition",
        "adapter",
        "maker",
        "name",
        "value",
        "unit",
        "expanded_uncertainty_k2",
        "best",
        "not_comparable",
        "run",
        "method",
        "source",
    )
    for row in frozen["rows"]:
        words = condition_in_words(Condition(**row["condition"]))
        for adapter, cell in zip(frozen["adapters"], row["cells"], strict=True):
            who = (adapter["slug"], adapter["maker"], adapter["name"])
            if cell is None:
                yield (row["metric"], row["title"], words, *who, "", row["unit"], *[""] * 6)
                continue
            expanded_uncertainty = expanded(cell["standard_uncertainty"])
            yield (
                row["metric"],
                row["title"],
                words,
                *who,
                cell["value"],
                row["unit"],
                "" if expanded_uncertainty is None else expanded_uncertainty,
                "best" if cell["best"] else "",
                cell["apart"],
                cell["run"] or "",
                cell["method"],
                # A table that was frozen before results came by tables does not say it.
                cell.get("source") or ("run" if cell["run"] else "catalogue"),
            )
