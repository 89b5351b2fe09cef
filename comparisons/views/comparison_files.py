"""A comparison as a workbook, as Markdown and as a piece of HTML for other sites.

All are written from the content alone, so that those of a published comparison stay the same.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from django.template.loader import render_to_string

from comparisons.queries.contents import departures_of, general_remarks
from comparisons.queries.tables import methods_of
from comparisons.ranking import expanded
from comparisons.templatetags.tables import highlight_rule, names, titles_of
from comparisons.views.csv_files import comparison_rows
from measurements.intake.workbook_writing import Page, Sheet, workbook_bytes
from measurements.kinds.base import Condition
from measurements.queries import condition_in_words
from measurements.templatetags.figures import figure, uncertainty

NOT_TESTED = "not tested"
FROM_CATALOGUE = "from the catalogue"

# What a worksheet says of numbers in columns of their own, by the names of the adapters.
_MARKS: Mapping[str, Callable[[Mapping[str, Any]], bool]] = {
    "Best": lambda cell: bool(cell["best"]),
    "Not comparable": lambda cell: bool(cell["apart"]),
    "From a table": lambda cell: cell.get("source") == "table",
}

# Members of a number beside a drawing, and what stands before the adapter's name over each.
_OF_EFFICIENCIES = {"value": "", "expanded_uncertainty": "U, k = 2: "}
_OF_CHARGES = {"value": "", "difference": "Difference: ", "expanded_of_difference": "U of it: "}

# What begins emphasis, code, a link or another cell of a table in Markdown.
_MARKUP = re.compile(r"([\\`*_~\[\]|])")


def workbook(content: Mapping[str, Any], *, about: Sequence[str]) -> bytes:
    """The table, its cells one a row, what there is to say of it, and the numbers of drawings.

    `about` are paragraphs on where the file is from. Text that looks like a formula stays text.
    """
    columns = list(names(content).values())
    facts, marks = ("Section", "Metric", "Condition", "Unit"), tuple(_MARKS)
    table = Sheet(
        "Table",
        (*facts, *(part for name in columns for part in (name, f"U, k = 2: {name}")), *marks),
        tuple(
            (
                row["section"],
                row["title"],
                condition_of(row),
                row["unit"],
                *(part for cell in row["cells"] for part in _numbers(cell)),
                *(
                    ", ".join(
                        name
                        for name, cell in zip(columns, row["cells"], strict=True)
                        if cell is not None and holds(cell)
                    )
                    for holds in _MARKS.values()
                ),
            )
            for row in content["rows"]
        ),
        texts=frozenset((*facts, *marks)),
        pinned=len(facts),
    )
    first, *rest = (tuple(row) for row in comparison_rows(content))
    headings = tuple(str(heading) for heading in first)
    numeric = ("value", "expanded_uncertainty_k2")
    cells = Sheet(
        "Cells",
        headings,
        tuple(tuple(None if part == "" else part for part in row) for row in rest),
        texts=frozenset(heading for heading in headings if heading not in numeric),
    )
    sections = (
        ("About", (*about, highlight_rule(content), *methods_of(content))),
        ("Remarks", tuple(f"{number}. {text}" for number, text in all_remarks(content))),
        ("Where conditions depart from each other", tuple(departures_of(content))),
    )
    page = Page(
        "Remarks",
        tuple(part for title, said in sections if said for part in (title, *said)),
        bold=frozenset(title for title, _ in sections),
    )
    drawings = [
        _drawing(f"Drawing {number}", block)
        for number, block in enumerate(content.get("blocks", ()), start=1)
        if block.get("rows")
    ]
    return workbook_bytes((table, cells, page, *drawings), active="Table")


def _drawing(name: str, block: Mapping[str, Any]) -> Sheet:
    """The numbers of a block's drawing: of each adapter the value with U, or the difference."""
    first, *columns = block["headings"]
    parts = _OF_CHARGES if block["kind"] == "charges" else _OF_EFFICIENCIES
    return Sheet(
        name,
        (first, *(before + column for column in columns for before in parts.values())),
        tuple(
            (
                row["title"],
                *(None if cell is None else cell[part] for cell in row["cells"] for part in parts),
            )
            for row in block["rows"]
        ),
        texts=frozenset({first}),
        pinned=1,
    )


def _numbers(cell: Mapping[str, Any] | None) -> tuple[float | None, float | None]:
    return (None, None) if cell is None else (cell["value"], expanded(cell["standard_uncertainty"]))


def condition_of(row: Mapping[str, Any]) -> str:
    """The condition of a frozen row in words."""
    parts = row["condition"]
    return condition_in_words(Condition(**parts)) if parts else FROM_CATALOGUE


def all_remarks(content: Mapping[str, Any]) -> Iterator[tuple[int, str]]:
    """Every remark with its number: the lines of the notes, then those on cells."""
    yield from enumerate(general_remarks(content), start=1)
    called, titles = names(content), titles_of(content)
    for item in content.get("remarks", ()):
        where = f"{called[item['adapter']]}, {titles[item['metric']]}"
        yield item["number"], f"{where}: {item['text']}"


def markdown_text(content: Mapping[str, Any], *, title: str, about: Sequence[str]) -> str:
    """The table with remarks and departures as Markdown; what people wrote is escaped."""
    return "\n".join(_markdown_lines(content, title=title, about=about)) + "\n"


def _markdown_lines(
    content: Mapping[str, Any], *, title: str, about: Sequence[str]
) -> Iterator[str]:
    columns = list(names(content).values())
    yield f"# {_escaped(content.get('title', title))}"
    yield ""
    groups = [adapter.get("group", "") for adapter in content["adapters"]]
    headings = [
        f"{_escaped(name)}{f' ({_escaped(group)})' if group else ''}"
        for name, group in zip(columns, groups, strict=True)
    ]
    yield f"| Metric and condition | {' | '.join(headings)} |"
    yield f"| --- |{' ---: |' * len(columns)}"
    section = None
    for row in content["rows"]:
        if row["section"] != section:
            section = row["section"]
            yield f"| **{_escaped(section)}** |{'  |' * len(columns)}"
        what = f"{row['title']}, {row['unit']} ({condition_of(row)})"
        remarks = row.get("remarks") or [[] for _ in row["cells"]]
        cells = [
            _escaped(cell_text(cell, decimals=row["decimals"], remarks=numbers))
            for cell, numbers in zip(row["cells"], remarks, strict=True)
        ]
        yield f"| {_escaped(what)} | {' | '.join(cells)} |"
    yield from ("", f"± is U, k = 2. {_escaped(highlight_rule(content))}")
    if remarks_said := list(all_remarks(content)):
        yield from ("", "## Remarks", "")
        # The number as text: a list would be numbered anew by some readers.
        yield from (f"- ({number}) {_escaped(text)}" for number, text in remarks_said)
    if departed := departures_of(content):
        yield from ("", "## Where conditions depart from each other", "")
        yield from (f"- {_escaped(sentence)}" for sentence in departed)
    yield ""
    yield from (f"{_escaped(line)}  " for line in about)


def cell_text(cell: Mapping[str, Any] | None, *, decimals: int, remarks: Sequence[int] = ()) -> str:
    """A cell in one line: value, U, and whatever else is said of it."""
    behind = f" ({', '.join(map(str, remarks))})" if remarks else ""
    if cell is None:
        return NOT_TESTED + behind
    parts = [
        figure(cell["value"], decimals),
        uncertainty(expanded(cell["standard_uncertainty"]), decimals),
        "best" if cell["best"] else "",
        "from a table" if cell.get("source") == "table" else "",
        "not comparable" if cell["apart"] else "",
    ]
    return " ".join(part for part in parts if part) + behind


def _escaped(text: str) -> str:
    """Text that stays text in a cell or a line of Markdown."""
    return _MARKUP.sub(r"\\\1", html.escape(" ".join(text.split()), quote=False))


def snippet(content: Mapping[str, Any], *, address: str, published: str, seal: str) -> str:
    """The table as one piece of plain HTML: no style, script or frame, and nothing to load.

    Day of publishing, hash and address stand in it, so that a copy says what it is a copy of.
    """
    rows = [
        {
            **row,
            "condition_words": condition_of(row),
            "texts": [
                cell_text(cell, decimals=row["decimals"], remarks=numbers)
                for cell, numbers in zip(
                    row["cells"], row.get("remarks") or [[] for _ in row["cells"]], strict=True
                )
            ],
        }
        for row in content["rows"]
    ]
    said = {
        "table": content,
        "rows": rows,
        "remarks": list(all_remarks(content)),
        "address": address,
        "published": published,
        "hash": seal,
        "span": len(content["adapters"]) + 1,
    }
    return render_to_string("comparisons/snippet.html", said).strip() + "\n"
