"""Fact sheets of comparisons: from the table alone, superlatives only where it bears them."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from comparisons.actions import publish_comparison, save_comparison
from comparisons.facts.order import completed
from comparisons.facts.sheets import Sheet
from comparisons.facts.table_sheets import NOT_IN_TABLE, table_sheet
from comparisons.facts.words import without_breaks
from comparisons.models import Comparison
from measurements.models import Value
from tests.comparisons.populations import stand, standby_population

ADAPTERS = [
    {"slug": f"northfold-solo-{number}", "maker": "Northfold", "name": f"Solo {number}"}
    for number in (1, 2, 3)
]


def cell(value: float, u: float | None = 0.1, **said: Any) -> dict[str, Any]:
    return {
        "value": value,
        "standard_uncertainty": u,
        "run": "01a212fd-219b-706e-94bd-bc09cdab5fab",
        "method": "1.0",
        "source": "run",
        "table": None,
        "apart": "",
        "best": False,
        **said,
    }


def row(*cells: dict[str, Any] | None, metric: str = "average-efficiency") -> dict[str, Any]:
    return {
        "metric": metric,
        "section": "Efficiency",
        "title": "Average efficiency",
        "unit": "%",
        "better": "higher",
        "decimals": 1,
        "condition": {"line": "high", "output_v": 20.0},
        "cells": list(cells),
    }


def sheet_of(*rows: dict[str, Any]) -> Sheet:
    table = {"coverage_factor": 2.0, "adapters": ADAPTERS, "rows": list(rows)}
    return table_sheet(table, title="Three", path="/c/", standing="Frozen.", order=completed(()))


def said(sheet: Sheet, key: str) -> str:
    (part,) = [part for part in sheet.sections if part.key == key]
    return without_breaks("\n".join(fact.sentences for fact in part.facts))


def test_a_row_says_every_value_and_which_is_best() -> None:
    sheet = sheet_of(row(cell(92.04, best=True), cell(90.0), None))
    assert said(sheet, "efficiency") == (
        "Average efficiency at 230 V mains and 20 V output: 92.0 ± 0.2 % (Northfold Solo 1), "
        "90.0 ± 0.2 % (Northfold Solo 2); not measured: Northfold Solo 3. Northfold Solo 1 has "
        "the highest value, by more than the uncertainty."
    )
    assert said(sheet, "heat") == NOT_IN_TABLE
    assert "Northfold Solo 3 has no value in 1 of 1 rows." in said(sheet, "cautions")


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        # 2 · √(0.1² + 0.1²) = 0.283: the first two lie within it, the third does not.
        ((cell(92.0), cell(91.8), cell(90.0)), "As the highest, Northfold Solo 1 and Northfold"),
        ((cell(92.0), cell(91.9), cell(91.8)), "Solo 1, Northfold Solo 2 and Northfold Solo 3 can"),
        ((cell(92.0), cell(80.0, None), None), "cannot be said, as not every uncertainty is"),
    ],
)
def test_near_ties_and_unstated_uncertainties_have_no_best(
    cells: tuple[dict[str, Any] | None, ...], found: str
) -> None:
    text = said(sheet_of(row(*cells)), "efficiency")
    assert found in text
    assert "by more than" not in text


def test_what_cannot_be_compared_keeps_its_reason_and_takes_no_part() -> None:
    text = said(
        sheet_of(row(cell(99.0, apart="Too warm."), cell(90.0), cell(80.0, source="table"))),
        "efficiency",
    )
    assert "Northfold Solo 1 is not comparable: Too warm." in text
    assert "Northfold Solo 3 is from a table, without a raw record." in text
    assert "As the highest, Northfold Solo 2" in text


def test_departures_and_notes_go_with_the_numbers() -> None:
    table = {
        "adapters": ADAPTERS,
        "rows": [row(cell(92.0), cell(90.0), None)],
        "notes": "Same day.\n\nSame lead.",
        "departures": [{"rule": "age", "sentence": "One run is two years older.", "cells": []}],
        "remarks": [
            {
                "number": 3,
                "adapter": "northfold-solo-2",
                "metric": "average-efficiency",
                "text": "Cable changed.",
            }
        ],
    }
    sheet = table_sheet(table, title="T", path="/c/", standing="Frozen.", order=completed(()))
    text = said(sheet, "cautions")
    assert "Conditions differ: One run is two years older." in text
    assert "Its editors note: Same day.\nIts editors note: Same lead." in text
    assert "note on average efficiency of Northfold Solo 2: Cable changed." in text


def test_a_metric_of_an_unknown_kind_is_not_lost() -> None:
    sheet = sheet_of(row(cell(92.0), None, None, metric="hum"))
    assert "92.0 ± 0.2 %" in said(sheet, "further")


@pytest.mark.django_db
def test_a_published_sheet_stays_as_it_is_and_a_draft_follows(client: Client, editor: User) -> None:
    pair = standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    draft = save_comparison(
        Comparison(title="Two solos"),
        adapters=list(pair.values()),
        metrics=["no-load-power"],
        conditions={},
        by=editor,
    )
    address = "/comparisons/two-solos/facts.txt"
    assert client.get(address).status_code == 404
    client.force_login(editor)
    assert "A draft: its values follow" in client.get(address).text
    publish_comparison(draft, by=editor)
    client.logout()
    frozen = client.get(address)
    assert "0.0500 ± 0.0010 W (Northfold Solo 1)" in frozen.text
    assert Comparison.objects.get().frozen_hash in frozen.text
    Value.objects.filter(adapter=pair["Solo 1"], metric="no-load-power").delete()
    stand(pair["Solo 1"], 0.07)
    assert client.get(address).content == frozen.content
    page = client.get("/comparisons/two-solos/facts/")
    assert "Northfold Solo 1 has the lowest value" in page.text
    assert client.get("/comparisons/two-solos/facts/?tables=in").status_code == 400
