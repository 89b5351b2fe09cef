"""Tables as files. CSV (RFC 4180): one header line, numbers as numbers, text that runs nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from django.utils.text import slugify

from comparisons.bulk.columns import Column
from comparisons.bulk.formats import FORMATS, Batches
from comparisons.bulk.rankings import RANKING_COLUMNS, Record
from comparisons.ranking import expanded
from measurements.kinds.base import Condition
from measurements.queries import condition_in_words

# A spreadsheet takes a text cell that starts so for a formula (ASVS 5.0, 1.2.10).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")

Row = Sequence[str | float | int | None]


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


def parquet_response(columns: Sequence[Column], batches: Batches, *, name: str) -> HttpResponse:
    """The batches as a typed download called after `name`."""
    form = FORMATS["parquet"]
    return HttpResponse(
        b"".join(form.pieces(columns, batches)),
        content_type=form.media_type,
        headers={
            "Content-Disposition": f'attachment; filename="{slugify(name) or "table"}.parquet"'
        },
    )


def ranking_rows(records: Iterable[Record]) -> Iterator[Row]:
    """A header and one row an adapter, best first."""
    yield [column.name for column in RANKING_COLUMNS]
    yield from records


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
        "group",
        "remarks",
    )
    remarks = {item["number"]: item["text"] for item in frozen.get("remarks", ())}
    for row in frozen["rows"]:
        words = condition_in_words(Condition(**row["condition"]))
        for at, (adapter, cell) in enumerate(zip(frozen["adapters"], row["cells"], strict=True)):
            who = (adapter["slug"], adapter["maker"], adapter["name"])
            numbers = row["remarks"][at] if "remarks" in row else ()
            said = " ".join(f"{number}: {remarks[number]}" for number in numbers)
            beside = (adapter.get("group", ""), said)
            if cell is None:
                empty = [""] * 6
                yield (row["metric"], row["title"], words, *who, "", row["unit"], *empty, *beside)
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
                *beside,
            )
