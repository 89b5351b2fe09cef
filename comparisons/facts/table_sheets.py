"""The fact sheet of a comparison, from its table as it is kept: nothing else is asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from django.urls import reverse

from comparisons.facts.judged import safety_fact
from comparisons.facts.order import OPTIONAL, SECTION_OF_KIND
from comparisons.facts.places import BEST_WORDS, NOTE_ON_UNCERTAINTY
from comparisons.facts.sheets import Fact, Sheet, Source, in_order
from comparisons.facts.words import quantity, uncapitalised, where
from comparisons.ranking import expanded, near_ties
from measurements.kinds import all_kinds, physical
from measurements.kinds.base import Condition
from measurements.kinds.instruments import listed
from measurements.queries import condition_in_words

NOT_IN_TABLE = "Not part of this table."

Cell = Mapping[str, Any]


def table_sheet(
    table: Mapping[str, Any], *, title: str, path: str, standing: str, order: Sequence[str]
) -> Sheet:
    """A sentence a row of a table made by `queries.tables.as_frozen`, in the order of sections.

    `standing` says whether the table is frozen or still follows what is accepted.
    """
    names = [f"{item['maker']} {item['name']}" for item in table["adapters"]]
    facts: dict[str, list[Fact]] = {"identity": [_compared(table, names)]}
    for row in table["rows"]:
        facts.setdefault(_section_of(row["metric"]), []).append(_row_fact(row, names))
    facts["cautions"] = [*_cautions(table, names), safety_fact()]
    return Sheet(
        title=f"Facts on “{title}”",
        path=path,
        sections=in_order(facts, order=order, missing=NOT_IN_TABLE),
        notes=(standing, NOTE_ON_UNCERTAINTY),
    )


def _compared(table: Mapping[str, Any], names: Sequence[str]) -> Fact:
    pages = [reverse("adapter", args=[item["slug"]]) for item in table["adapters"]]
    return Fact(
        f"The table compares {listed(names)}.",
        sources=tuple(Source(name, page) for name, page in zip(names, pages, strict=True)),
    )


def _section_of(metric: str) -> str:
    if any(metric == item.key for item in physical.METRICS):
        return "identity"
    for kind in all_kinds():
        if any(metric == item.key for item in kind.metrics):
            return SECTION_OF_KIND.get(kind.slug, OPTIONAL)
    return OPTIONAL


def _row_fact(row: Mapping[str, Any], names: Sequence[str]) -> Fact:
    tested = [(name, cell) for name, cell in zip(names, row["cells"], strict=True) if cell]
    untested = [name for name, cell in zip(names, row["cells"], strict=True) if not cell]
    head = " ".join(part for part in (row["title"], _conditions(row["condition"])) if part)
    if not tested:
        return Fact(f"{head}: not measured.")
    said = ", ".join(f"{_value(row, cell)} ({name})" for name, cell in tested)
    missing = f"; not measured: {listed(untested)}" if untested else ""
    return Fact(
        f"{head}: {said}{missing}.",
        place=_best(row, tested),
        care=tuple(_care(tested)),
        sources=tuple(_sources(tested)),
    )


def _conditions(parts: Mapping[str, Any]) -> str:
    """The condition of a row, mains and voltage first: ``at 230 V mains (hayrick tablet)``."""
    condition = Condition(**parts)
    others = {key: part for key, part in parts.items() if key not in ("line", "output_v")}
    beside = condition_in_words(Condition(**others)) if others else ""
    return " ".join(part for part in (where(condition), beside and f"({beside})") if part)


def _value(row: Mapping[str, Any], cell: Cell) -> str:
    return quantity(
        cell["value"],
        expanded(cell["standard_uncertainty"]),
        unit=row["unit"],
        decimals=row["decimals"],
    )


def _best(row: Mapping[str, Any], tested: Sequence[tuple[str, Cell]]) -> str:
    """Which is best, or which cannot be told apart as the best; "" where nothing is compared."""
    compared = [(name, cell) for name, cell in tested if not cell["apart"]]
    if len(compared) < 2 or row["better"] not in BEST_WORDS:
        return ""
    word = BEST_WORDS[row["better"]]
    marked = [name for name, cell in compared if cell["best"]]
    if marked:
        return f"{marked[0]} has the {word} value, by more than the uncertainty."
    spreads = np.array([cell["standard_uncertainty"] for _, cell in compared], dtype=np.float64)
    if np.isnan(spreads).any():
        return f"Which has the {word} cannot be said, as not every uncertainty is stated."
    values = np.array([cell["value"] for _, cell in compared])
    best = int(np.argmin(values) if row["better"] == "lower" else np.argmax(values))
    group = sorted({best, *near_ties(values, spreads, position=best).tolist()})
    alike = listed(compared[position][0] for position in group)
    return f"As the {word}, {alike} cannot be told apart."


def _care(tested: Sequence[tuple[str, Cell]]) -> Iterator[str]:
    for name, cell in tested:
        if cell["apart"]:
            yield f"{name} is not comparable: {cell['apart']}"
    # A table that was frozen before results came by tables does not say where they are from.
    if of_tables := [name for name, cell in tested if cell.get("source") == "table"]:
        verb = "is" if len(of_tables) == 1 else "are"
        yield f"{listed(of_tables)} {verb} from a table, without a raw record."


def _sources(tested: Sequence[tuple[str, Cell]]) -> Iterator[Source]:
    for name, cell in tested:
        if cell["run"]:
            yield Source(f"Run of {name}", reverse("run", args=[cell["run"]]))
        elif cell.get("table"):
            yield Source(f"Table with {name}", reverse("result-table", args=[cell["table"]]))


def _cautions(table: Mapping[str, Any], names: Sequence[str]) -> Iterator[Fact]:
    """Where conditions differ, what its editors noted, who was not measured for what.

    A table that was frozen before they were kept has neither departures nor notes.
    """
    rows = table["rows"]
    for departure in table.get("departures", ()):
        yield Fact(f"Conditions differ: {departure['sentence']}")
    by_slug = dict(zip((item["slug"] for item in table["adapters"]), names, strict=True))
    titles = {row["metric"]: row["title"] for row in rows}
    for note in str(table.get("notes", "")).splitlines():
        if note.strip():
            yield Fact(f"Its editors note: {note.strip()}")
    for remark in table.get("remarks", ()):
        about = f"{titles[remark['metric']]} of {by_slug[remark['adapter']]}"
        yield Fact(f"Its editors note on {uncapitalised(about)}: {remark['text']}")
    for position, name in enumerate(names):
        missing = sum(row["cells"][position] is None for row in rows)
        if missing:
            yield Fact(f"{name} has no value in {missing} of {len(rows)} rows.")
    yield Fact(
        "A value is of one unit of its adapter; another unit may differ. A superlative is among "
        "the adapters of this table only, not among all that were measured."
    )
