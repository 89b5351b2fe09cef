"""A whole sheet as it was read and found right, and the rules behind its words."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.actions import PortFacts
from catalog.models import Unit
from comparisons.facts.adapter_sheets import adapter_sheet
from comparisons.facts.order import OPTIONAL, completed
from comparisons.facts.sheets import Sheet
from comparisons.facts.words import without_breaks
from comparisons.facts.writing import as_text
from comparisons.queries.fact_material import fact_material
from measurements.kinds.base import Condition
from measurements.models import Run, Value
from tests.comparisons.facts.bench import HIGH, fact_bench, give
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import accepted_table, standby_table

pytestmark = pytest.mark.django_db

GOLDEN = Path(__file__).with_name("golden_sheet.txt")
DAY = date(2026, 4, 2)


def sheet_of(
    slug: str = "northfold-trio-100",
    *,
    viewer: User | None = None,
    tables: bool = False,
    order: tuple[str, ...] = (),
) -> Sheet:
    material = fact_material(slug, viewer=viewer, tables=tables)
    assert material is not None
    return adapter_sheet(material, order=completed(order), on=DAY)


def said(sheet: Sheet, key: str) -> str:
    """Everything of one section, a fact a line."""
    (part,) = [part for part in sheet.sections if part.key == key]
    return without_breaks("\n".join(fact.sentences for fact in part.facts))


def test_a_whole_sheet_reads_as_it_did() -> None:
    """Whoever changes a template reads the sheet again and writes the file anew."""
    fact_bench()
    text = as_text(sheet_of(), absolute=lambda path: f"https://bench.example{path}")
    masked = re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}", "RUN", text)
    assert masked == GOLDEN.read_text(encoding="utf-8")


def test_the_same_values_give_the_same_sheet_in_any_order_of_sections() -> None:
    fact_bench()
    usual, turned = sheet_of(), sheet_of(order=("cautions", "heat"))
    assert [part.key for part in turned.sections][:2] == ["cautions", "heat"]
    by_key = {part.key: part for part in usual.sections}
    assert {part.key: part for part in turned.sections} == by_key
    assert list(by_key) == [key for key in completed(()) if key != OPTIONAL]


def test_every_number_of_a_placed_fact_is_a_stored_value_a_place_or_a_condition() -> None:
    trio = fact_bench()
    give(trio, "charge-to-50", 20.3667, 0.37, Condition(device="hayrick-tablet"))
    stored = {
        (value.metric, value.condition_key): value for value in Value.objects.filter(adapter=trio)
    }
    checked = 0
    for part in sheet_of().sections:
        for fact in part.facts:
            placed = fact.placed
            if placed is None:
                continue
            value = stored.pop((placed.metric.key, placed.condition.key))
            decimals = placed.metric.decimals
            spread = 2 * value.standard_uncertainty
            finer = max(decimals, len(f"{spread:.0e}".split("e-")[-1].lstrip("0") or "0"))
            allowed = {f"{value.value:.{decimals}f}".lstrip("-"), f"{spread:.{decimals}f}"}
            allowed |= {f"{spread:.{finer}f}", "230", "115", f"{value.output_v or 0:g}"}
            allowed |= {str(placed.count), str(placed.rank), str(placed.near_tie_count)}
            allowed |= {"8", "31", "50", "90"}  # smallest cohort, the reason, 50 %, nine tenths
            if placed.metric.key == "matched-power":
                allowed.add(f"{100 * value.value / 44.0:.0f}")
                allowed |= {"2"}
            if placed.metric.key == "top-pdo-power":
                allowed.add("1")  # of port C1
            if placed.metric.key == "no-load-power":
                allowed |= {"2", "5", "6"}  # the two at the top; names of schemes
            numbers = re.findall(r"\d+(?:\.\d+)?", without_breaks(fact.sentences))
            assert set(numbers) <= allowed, fact.sentences
            assert f"{abs(value.value):.{decimals}f}" in numbers
            checked += 1
    # All but the count of profiles, which has no place.
    assert [metric for metric, _ in stored] == ["profile-count"]
    assert checked == 11


def test_nothing_is_guessed_of_what_was_not_measured() -> None:
    make_adapter("Solo 30", rated_power_w=30.0, length_mm=None, width_mm=None, height_mm=None)
    sheet = sheet_of("northfold-solo-30")
    for part in sheet.sections:
        text = said(sheet, part.key)
        if part.key == "identity":
            assert "Its size is not stated." in text
        elif part.key == "verdicts":
            assert text == "Not measured: no value of it was judged against a published limit."
        elif part.key == "cautions":
            assert "No measured value of it stands" in text
        else:
            assert text == "Not measured."


def test_a_missing_mains_line_is_named_and_a_measured_one_is_not() -> None:
    fact_bench()
    standby = said(sheet_of(), "standby")
    assert "Not measured at 115 V mains." in standby
    assert "Not measured at 230 V" not in standby


def test_ripple_without_load_is_not_left_out_in_silence() -> None:
    trio = fact_bench()
    assert "Without load its ripple was not measured." in said(sheet_of(), "ripple")
    give(trio, "ripple-no-load", 9.0, 0.5, HIGH)
    assert "not measured." not in said(sheet_of(), "ripple")


def test_an_undecided_verdict_softens_the_sentence_and_is_told_whole() -> None:
    fact_bench()
    sheet = sheet_of()
    assert "Undecided against CoC v5 Tier 2: the limit lies within U." in said(sheet, "standby")
    verdicts = said(sheet, "verdicts")
    assert "Whether its standby power at 230 V mains, 0.0500 ± 0.0010 W, keeps the" in verdicts
    assert "(0.0505 W) cannot be decided" in verdicts
    assert "By Level VI, of 1 judged value: 1 passed." in verdicts
    assert "Of 2 verdicts, 1 rests on a measurement that departs" in verdicts
    assert "never a certification" in verdicts


def test_one_unit_and_two_are_told_apart() -> None:
    trio = fact_bench()
    assert "of one unit (serial 1)" in said(sheet_of(), "cautions")
    other = Unit.objects.create(adapter=trio, serial="B2")
    first = Run.objects.filter(adapter=trio).order_by("pk")[0]
    Run.objects.filter(pk=first.pk).update(unit=other)
    assert "of two units (serials 1 and B2)" in said(sheet_of(), "cautions")


def test_a_result_of_a_table_is_marked_and_counts_only_when_asked_for(editor: User) -> None:
    fact_bench()
    make_adapter("Old 1")
    accepted_table(standby_table(("northfold-old-1", 0.03, None)), by=editor)
    assert said(sheet_of("northfold-old-1"), "standby") == "Not measured."
    sheet = sheet_of("northfold-old-1", tables=True)
    standby = said(sheet, "standby")
    assert "0.0300 W (U not stated)" in standby
    assert "From a table, without a raw record." in standby
    assert "cannot be said, as not every uncertainty is stated" in standby
    assert "1 value comes from tables" in said(sheet, "cautions")
    (fact, *_) = next(part for part in sheet.sections if part.key == "standby").facts
    assert fact.sources[0].path.startswith("/tables/")


def test_embargoed_adapters_are_unknown_to_readers_and_their_places(editor: User) -> None:
    fact_bench()
    secret = make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=9))
    give(secret, "ripple-loaded", 1.0, 0.1, HIGH)
    assert fact_material("northfold-secret-1", viewer=None, tables=False) is None
    assert "That is 1st of 10" in said(sheet_of(), "ripple")
    assert "That is 2nd of 11" in said(sheet_of(viewer=editor), "ripple")
    notes = sheet_of("northfold-secret-1", viewer=editor).notes
    assert "Under embargo until" in notes[-1]


def test_a_sheet_takes_as_many_queries_for_many_values_as_for_one() -> None:
    trio = make_adapter("Trio 100")
    counts = []
    for voltages in ((5.0,), (9.0, 15.0, 20.0)):
        for voltage in voltages:
            give(trio, "average-efficiency", 90.0, 0.1, Condition(line="high", output_v=voltage))
        with CaptureQueriesContext(connection) as captured:
            sheet_of()
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_run_without_a_ranked_value_is_still_a_run() -> None:
    bare = make_adapter("Bare 30", ports=(PortFacts("C1", "usb-c"),))
    give(bare, "profile-count", 0.0, 0.0, Condition(port="C1"))
    sheet = sheet_of("northfold-bare-30")
    assert "Every measured value is of one unit (serial 1)" in said(sheet, "cautions")
