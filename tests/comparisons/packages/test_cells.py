"""Cells of a package: any value comes back from its text as it was.

Sources: IEEE 754 (shortest text of a float), RFC 3339 (moments), RFC 8259 (JSON), RFC 4180 (CSV),
as the standard library implements them.
"""

from __future__ import annotations

import csv
import io
import math
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalog.models import LabelClaim, Maker
from comparisons.packages.columns import Column, Type, steady, text_of, value_of
from comparisons.packages.importing import take_in
from measurements.models import Instrument, Run
from tests.comparisons.packages import bench
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log

# Whatever a database takes as text: no NUL and no half of a surrogate pair.
TEXTS = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=60
) | st.sampled_from(
    ['a\r\nb"', '""', ",", "\r", "\n", "'=1+1", "\ufeffx", "\u2028", " x ", "é\u0301"]
)
JSONS = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=10,
)
# Two days inside the range, so that every zone has them.
_DAYS = ((1, 1, 3), (9999, 12, 29))
_FIRST, _LAST = (datetime(*day, tzinfo=UTC).replace(tzinfo=None) for day in _DAYS)
MOMENTS = st.datetimes(min_value=_FIRST, max_value=_LAST, timezones=st.just(UTC))


def column(type_: Type, *, required: bool = False) -> Column:
    """A column of a type."""
    return Column("x", type_, "Anything.", required=required)


def back(type_: Type, value: Any) -> Any:
    """The value as it is read from a table that it was written to."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerow([text_of(column(type_), value), "next"])
    text.seek(0)
    (row,) = csv.reader(text, strict=True)
    return value_of(column(type_), row[0])


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_comes_back_bit_for_bit(value: float) -> None:
    found = back("number", value)
    assert found == value
    assert math.copysign(1.0, found) == math.copysign(1.0, value)


@given(TEXTS)
def test_a_text_comes_back_sign_for_sign(value: str) -> None:
    assert back("string", value) == value


@given(MOMENTS, st.integers(-14 * 60, 14 * 60))
def test_a_moment_comes_back_to_the_microsecond_from_any_zone(
    value: datetime, minutes: int
) -> None:
    there = value.astimezone(timezone(timedelta(minutes=minutes)))
    assert back("datetime", there) == value
    assert text_of(column("datetime"), there).endswith("Z")


@given(st.dates(), st.integers(-(10**17), 10**17), st.booleans())
def test_dates_whole_numbers_and_truths_come_back(day: date, number: int, truth: bool) -> None:
    assert (back("date", day), back("integer", number)) == (day, number)
    assert back("boolean", truth) is truth


@given(st.dictionaries(TEXTS, JSONS, max_size=4))
def test_json_comes_back_in_one_spelling(value: dict[str, Any]) -> None:
    found = back("object", value)
    assert found == steady(value)
    assert text_of(column("object"), found) == text_of(column("object"), value)


@pytest.mark.parametrize(
    ("type_", "text"),
    [
        *(("number", text) for text in ("1_000", "inf", "nan", "0x1", " 1", "1,5", "１", "1e999")),
        *(("integer", text) for text in ("1.0", "+1", "٣", "--1", "9" * 20)),
        *(("boolean", text) for text in ("True", "1", "yes")),
        *(("datetime", text) for text in ("2026-01-01", "2026-01-01T00:00:00", "now")),
        *(("object", text) for text in ("[]", "null", "{", '{"a":NaN}', "[" * 100_000)),
        ("array", "{}"),
        ("date", "2026-02-30"),
    ],
)
def test_what_is_no_value_of_a_type_is_refused(type_: Type, text: str) -> None:
    with pytest.raises(ValueError, match="is no "):
        value_of(column(type_), text)


def test_an_empty_cell_is_missing_unless_it_is_required() -> None:
    assert value_of(column("string"), "") is None
    with pytest.raises(ValueError, match="must not be empty"):
        value_of(column("string", required=True), "")


@pytest.mark.django_db
@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(texts=st.lists(TEXTS.filter(str.strip), min_size=4, max_size=4))
def test_hostile_texts_make_the_round_trip(
    tmp_path_factory: pytest.TempPathFactory, editor: User, texts: list[str]
) -> None:
    folder = tmp_path_factory.mktemp("texts")
    note, reason, maker, instrument = texts
    with transaction.atomic():
        adapter = make_adapter()
        run = accepted(adapter, no_load_log(0.05, minutes=1), by=editor)
        Run.objects.filter(pk=run.pk).update(note=note, file_name=f"a.{reason}"[:255])
        Maker.objects.update(name=maker)
        LabelClaim.objects.create(adapter=adapter, text=reason)
        run.instruments.add(
            Instrument.objects.create(
                name=instrument, quantity="ripple", reading_percent=1.0, fixed=0.0
            )
        )
        first = bench.exported(folder / "first.zip")
        transaction.set_rollback(True)
    with transaction.atomic():
        take_in(first)
        assert Run.objects.get().note == note
        assert bench.hashes(bench.exported(folder / "second.zip")) == bench.hashes(first)
        transaction.set_rollback(True)
