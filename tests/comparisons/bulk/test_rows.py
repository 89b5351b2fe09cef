"""Rows of a query as record batches: every value as it is stored, whichever way it came."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from operator import itemgetter

import pyarrow as pa
import pytest
from django.db import connection, transaction
from django.db.models import Case, F, FloatField, When
from django.db.models import Value as Constant
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalog.models import Adapter, Maker
from comparisons.bulk import rows
from comparisons.bulk.columns import Column
from comparisons.bulk.rows import AsStored, TimeText, or_null, record_batches
from tests.faults.processes import wait_for

pytestmark = pytest.mark.django_db

NAME = Column("name", "text", "as printed")
NUMBER = Column("model_number", "text", "null where there is none")
EMPTY = Column("empty", "text", "a text without characters")
POWER = Column("power", "number", "rated", "W")
MASS = Column("mass", "number", "null where unknown", "g")
HEAVY = Column("heavy", "yes-no", "whether it is heavy")
SINCE = Column("since", "time", "when it was entered")
READ = {
    NAME: F("name"),
    NUMBER: or_null("model_number"),
    EMPTY: Constant(""),
    POWER: F("rated_power_w"),
    MASS: AsStored(Case(When(mass_g__gt=0, then="mass_g"), output_field=FloatField())),
    HEAVY: Case(When(rated_power_w__gt=100, then=True), default=False),
    SINCE: TimeText("created_at"),
}
MOMENT = datetime(2026, 3, 1, 12, 30, 0, 250000, tzinfo=UTC)


def entered(name: str, *, model_number: str = "", power_w: float = 65.0) -> Adapter:
    """An adapter with just that; a light one has no mass on record."""
    maker, _ = Maker.objects.get_or_create(name="Northfold", slug="northfold")
    return Adapter.objects.create(
        maker=maker,
        name=name,
        slug=f"row-{Adapter.objects.count()}",
        model_number=model_number,
        rated_power_w=power_w,
        mass_g=power_w if power_w > 100 else None,
        created_at=MOMENT,
    )


def everything() -> list[dict[str, object]]:
    """All rows, in the order of their entry."""
    batches = list(record_batches(Adapter.objects.order_by("pk"), read=READ))
    return pa.Table.from_batches(batches).to_pylist() if batches else []


TEXTS = st.text(
    st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), min_size=1, max_size=60
)
HOSTILE = (
    "a,b",
    'say "no"',
    '""',
    "one\r\ntwo\nthree\rfour",
    "\\N",
    "\\.",
    "NULL",
    " edge ",
    "é 漢 🔌",
)


COMMITTED = pytest.mark.django_db(transaction=True, serialized_rollback=True)
"""Rows that another connection sees, which PostgreSQL therefore copies out."""


@COMMITTED
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.tuples(TEXTS | st.sampled_from(HOSTILE), st.floats(0.001, 1000)),
        max_size=5,
        unique_by=itemgetter(0),
    )
)
def test_texts_and_numbers_come_as_they_are_kept(kept: list[tuple[str, float]]) -> None:
    Adapter.objects.all().delete()
    for text, power_w in kept:
        entered(text, model_number=text, power_w=power_w)
    found = everything()
    assert [(row["name"], row["model_number"]) for row in found] == [
        (text, text) for text, _ in kept
    ]
    assert [row["power"] for row in found] == [power_w for _, power_w in kept]


@COMMITTED
def test_committed_rows_come_as_those_of_a_transaction_and_hold_up_no_other_query() -> None:
    entered("Solo 65", model_number="S,65")
    entered('Trio "140"\n', power_w=140.0)
    with transaction.atomic():
        fetched = everything()
    batches = record_batches(Adapter.objects.order_by("pk"), read=READ)
    first = next(batches)
    assert Adapter.objects.count() == 2  # while the answer is still open
    with transaction.atomic():
        Adapter.objects.update(mass_g=1.0)
    assert pa.Table.from_batches([first, *batches]).to_pylist() == fetched
    assert [(row["model_number"], row["empty"], row["mass"]) for row in fetched] == [
        ("S,65", "", None),
        (None, "", 140.0),
    ]


@COMMITTED
def test_an_answer_that_is_left_early_leaves_no_connection_behind() -> None:
    entered("Solo 65")
    batches = record_batches(Adapter.objects.order_by("pk"), read=READ)
    next(batches)
    batches.close()  # type: ignore[attr-defined]
    assert next(batches, None) is None
    if connection.vendor == "postgresql":
        wait_for(lambda: copies_held() == 0, what="the connection of the answer to end")


def copies_held() -> int:
    """How many other connections to this database have last been asked to copy."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND query LIKE 'COPY%%' AND pid <> pg_backend_pid()"
        )
        return int(cursor.fetchone()[0])


def test_nothing_is_told_from_an_empty_text() -> None:
    entered("Solo 65")
    (row,) = everything()
    assert (row["model_number"], row["empty"], row["mass"]) == (None, "", None)


def test_truth_and_moments_are_told() -> None:
    entered("Solo 65")
    entered("Trio 140", power_w=140.0)
    assert [row["heavy"] for row in everything()] == [False, True]
    assert {row["since"] for row in everything()} == {"2026-03-01T12:30:00.250000Z"}


def test_many_rows_come_in_several_batches_in_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "ROWS", 3)
    names = [f"Line\n{number}" for number in range(8)]
    for name in names:
        entered(name)
    batches = list(record_batches(Adapter.objects.order_by("pk"), read=READ))
    assert [len(batch) for batch in batches] == [3, 3, 2]
    assert len(batches) == math.ceil(len(names) / 3)
    assert [row["name"] for row in everything()] == names


def test_a_query_that_can_find_nothing_gives_nothing() -> None:
    entered("Solo 65")
    assert list(record_batches(Adapter.objects.none(), read=READ)) == []
