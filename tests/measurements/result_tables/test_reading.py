"""A table of results row by row: what is taken in, and what is refused and why."""

from __future__ import annotations

import math
from contextlib import suppress
from typing import Any

import pint
import pytest
from django.contrib.auth.models import User
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.management.packages import PackageError, Row
from measurements.management.results import _number, _Wrong
from measurements.management.table_files import tables_of
from measurements.models import Value
from tests.factories.catalog import make_adapter
from tests.factories.result_tables import bring

pytestmark = pytest.mark.django_db

HEAD = "adapter,metric,value,unit,standard_uncertainty,expanded_uncertainty,line,output_v,port"
SOLO = "northfold-solo-65"


def table(*rows: str, head: str = HEAD) -> bytes:
    return "\n".join([head, *rows, ""]).encode()


def test_units_and_uncertainties_are_converted(editor: User) -> None:
    make_adapter()
    found = bring(
        table(
            f"{SOLO},no-load-power,40,mW,0.5,,high,,",
            f"{SOLO},no-load-power,0.05,,,0.004,low,,",
            f"{SOLO},surface-temperature,122,°F,,1.8,high,,",
            f"{SOLO},average-efficiency,91.5,%,,,high,20,",
        ),
        by=editor,
    )
    assert (found.read, found.refused) == (4, 0), found.refusals
    rows = {(row.metric, row.line): row for row in Value.objects.of_tables()}
    # Reference: the unit library itself, used directly (pint: mW to W, °F to °C).
    registry: Any = pint.UnitRegistry()
    high = rows["no-load-power", "high"]
    assert high.value == pytest.approx(registry.Quantity(40, "mW").to("W").magnitude)
    assert high.standard_uncertainty == pytest.approx(0.0005)
    assert rows["no-load-power", "low"].standard_uncertainty == pytest.approx(0.002)  # k = 2
    heat = rows["surface-temperature", "high"]
    assert heat.value == pytest.approx(registry.Quantity(122, "degF").to("degC").magnitude)
    assert heat.standard_uncertainty == pytest.approx(0.5)  # 1.8 °F of U are 1 °C
    efficiency = rows["average-efficiency", "high"]
    assert (efficiency.output_v, efficiency.stated_uncertainty) == (20.0, None)


def test_a_decimal_comma_is_read_where_the_separator_shows_it(editor: User) -> None:
    make_adapter()
    content = f"adapter;metric;line;value\n{SOLO};no-load-power;high;0,125\n".encode()
    assert bring(content, by=editor).taken_in == 1
    assert Value.objects.of_tables().get().value == 0.125


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("nobody,no-load-power,1,,,,high,,", "adapter", "No adapter is called “nobody”"),
        (f"{SOLO},glow,1,,,,high,,", "metric", "No metric is called “glow”"),
        (f"{SOLO},match-rate,90,,,,,,", "metric", "cannot come ready-made"),
        (f"{SOLO},no-load-power,lots,,,,high,,", "value", "is not a number"),
        (f"{SOLO},no-load-power,nan,,,,high,,", "value", "is not a number"),
        (f"{SOLO},no-load-power,1e999,,,,high,,", "value", "is not a number"),
        (f"{SOLO},no-load-power,1,V,,,high,,", "unit", "is in W"),
        (f"{SOLO},temperature-rise,40,°C,,,high,,", "unit", "difference"),
        (f"{SOLO},no-load-power,1,,0,,high,,", "standard_uncertainty", "above 0"),
        (f"{SOLO},no-load-power,1,,1,2,high,,", "expanded_uncertainty", "not both"),
        (f"{SOLO},no-load-power,1,,,,,,", "line", "depends on line"),
        (f"{SOLO},no-load-power,1,,,,230,,", "line", "Write high, low"),
        (f"{SOLO},no-load-power,1,,,,high,20,", "output_v", "does not depend on output_v"),
        (f"{SOLO},average-efficiency,1,,,,high,-5,", "output_v", "above 0"),
        (f"{SOLO},top-pdo-power,60,,,,,,C9", "port", "Write C1"),
    ],
)
def test_a_refused_row_says_where_and_what_to_do(
    row: str, column: str, says: str, editor: User
) -> None:
    make_adapter()
    good = f"{SOLO},no-load-power,0.05,,,,low,,"
    found = bring(table(good, row), by=editor)
    assert (found.read, found.taken_in, found.refused) == (2, 1, 1)
    (refusal,) = found.refusals
    assert (refusal.line, refusal.field) == (3, column)
    assert says in refusal.detail
    assert found.table is not None
    assert found.table.problems[0]["row"] == 3


def test_two_rows_of_one_place_are_both_refused(editor: User) -> None:
    make_adapter()
    row = f"{SOLO},no-load-power,0.05,,,,high,,"
    found = bring(table(row, row.replace("0.05", "0.06")), by=editor)
    assert found.table is None
    assert [item.line for item in found.refusals] == [2, 3]
    assert "Line 3" in found.refusals[0].detail


def test_an_adapter_under_embargo_is_none_for_who_may_not_know_it(db: None) -> None:
    make_adapter(publish_on="2999-01-01")
    nobody = User.objects.create(username="nobody")
    found = bring(table(f"{SOLO},no-load-power,1,,,,high,,"), by=nobody)
    assert "No adapter" in found.refusals[0].detail


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"adapter,metric,value\n", "no rows"),
        (b"adapter,metric\na,b\n", "value is missing"),
        (b"adapter,metric,value,colour\na,b,1,red\n", "colour"),
        (b"time_s,input_power_w\n0,1\n", "no table of results"),
        (b"PK\x03\x04\0\0", "NUL"),
    ],
)
def test_what_is_no_table_is_refused_as_a_whole(content: bytes, says: str, editor: User) -> None:
    with pytest.raises(PackageError, match=says):
        bring(content, by=editor)
    with pytest.raises(PackageError, match="more than one"):
        tables_of([("a", b"metric\nb\n"), ("b", b"metric\nb\n")])


@settings(max_examples=60)
@given(value=st.floats(-1e9, 1e9), comma=st.booleans())
def test_every_number_reads_back(value: float, comma: bool) -> None:
    text = repr(value).replace(".", ",") if comma else repr(value)
    assert _number(Row(2, {"value": text}, decimal_comma=comma), "value") == value


@settings(max_examples=100)
@given(st.text(max_size=20))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    row = Row(2, {"value": text}, decimal_comma=False)
    with suppress(_Wrong):  # the only error there is
        assert math.isfinite(_number(row, "value"))
