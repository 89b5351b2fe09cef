"""Downloads as streams: headers, tags, what is held, and what a client gets when one breaks."""

from __future__ import annotations

import gzip
import re
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pyarrow as pa
import pytest
from django.contrib.auth.models import User
from django.db import OperationalError
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from comparisons import bulk_api
from comparisons.bulk import rows
from comparisons.bulk.formats import FORMATS
from comparisons.bulk.values import value_rows
from measurements.models import Ledger, Run, Value
from tests.comparisons.bulk.reading import BULK, content_of, downloaded, parquet_rows
from tests.comparisons.populations import stand
from tests.factories.api import assert_problem, client_of
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

TABLES = tuple(bulk_api.DOWNLOADS)


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


def many_values(count: int, *, name: str = "Solo 65") -> None:
    """So many standing values of one adapter."""
    adapter = make_adapter(name)
    now = timezone.now()
    Value.objects.bulk_create(
        Value(
            adapter=adapter,
            metric="efficiency",
            condition_key=f"load_percent={number}",
            load_percent=float(number),
            value=number / 7,
            standard_uncertainty=0.1,
            method="1.0",
            current_from=now,
        )
        for number in range(count)
    )
    Ledger.turn()


@pytest.mark.parametrize(
    ("form", "media_type"),
    [
        ("", "text/csv; charset=utf-8; header=present"),
        ("?as=csv", "text/csv; charset=utf-8; header=present"),
        ("?as=ndjson", "application/x-ndjson"),
        ("?as=parquet", "application/vnd.apache.parquet"),
    ],
)
@pytest.mark.parametrize("table", TABLES)
def test_an_empty_site_gives_whole_files_without_rows(
    anyone: APIClient, table: str, form: str, media_type: str
) -> None:
    answer = anyone.get(f"{BULK}/{table}/{form}")
    assert answer["Content-Type"] == media_type
    name = f"brickledger-{table}.{form.partition('=')[2] or 'csv'}"
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert "Content-Length" not in answer
    content = content_of(answer)
    columns = [column.name for column in bulk_api.DOWNLOADS[table].columns]
    if form.endswith("ndjson"):
        assert content == b""
    elif form.endswith("parquet"):
        assert parquet_rows(content) == []
        assert pa.parquet.read_schema(pa.BufferReader(content)).names == columns
    else:
        assert content.decode() == ",".join(columns) + "\r\n"


@pytest.mark.parametrize("table", TABLES)
def test_what_is_asked_again_unchanged_is_not_read_again(
    anyone: APIClient, table: str, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    stand(make_adapter(), 0.1)
    address = f"{BULK}/{table}/"
    first = anyone.get(address)
    content_of(first)
    with django_assert_num_queries(2 if table == "traces" else 1):  # the stamp only
        again = anyone.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    Ledger.turn()
    changed = anyone.get(address, headers={"If-None-Match": first["ETag"]})
    assert changed["ETag"] != first["ETag"]
    assert content_of(changed)


def test_a_tag_is_of_one_address_one_day_and_one_sort_of_reader(
    anyone: APIClient,
    person: Callable[[str], User],
    monkeypatch: pytest.MonkeyPatch,
    settings: Settings,
) -> None:
    stand(make_adapter(publish_on=timezone.now().date() + timedelta(days=1)), 0.1)

    def tag(client: APIClient, query: str = "") -> str:
        return str(client.head(f"{BULK}/values/{query}")["ETag"])

    tags = [
        tag(anyone),
        tag(anyone, "?as=ndjson"),
        tag(anyone, "?line=high"),
        tag(client_of(person("editor"))),
    ]
    settings.COUNT_TABLES = True
    tags.append(tag(anyone))
    settings.COUNT_TABLES = False
    assert downloaded(anyone, "values") == []
    real = timezone.now()
    monkeypatch.setattr(timezone, "now", lambda: real + timedelta(days=1))
    tags.append(tag(anyone))
    assert len(set(tags)) == len(tags)
    assert downloaded(anyone, "values")
    assert tag(anyone) == tags[-1]


def test_the_tag_of_traces_changes_with_a_run_that_stands_no_more(anyone: APIClient) -> None:
    stand(make_adapter(), 0.1)
    before = anyone.head(f"{BULK}/traces/")["ETag"]
    Run.objects.update(computed_at=timezone.now())
    assert anyone.head(f"{BULK}/traces/")["ETag"] != before


@pytest.mark.parametrize("table", TABLES)
def test_a_head_has_the_headers_and_reads_nothing(
    anyone: APIClient, table: str, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    stand(make_adapter(), 0.1)
    whole = anyone.get(f"{BULK}/{table}/?as=parquet")
    content_of(whole)
    with django_assert_num_queries(2 if table == "traces" else 1):
        head = anyone.head(f"{BULK}/{table}/?as=parquet")
    assert head.headers == whole.headers
    assert content_of(head) == b""


def test_text_is_compressed_on_its_way_and_parquet_is_not() -> None:
    many_values(3000)
    client = Client(headers={"Accept-Encoding": "gzip"})
    plain = {form: content_of(Client().get(f"{BULK}/values/?as={form}")) for form in FORMATS}
    for form in ("csv", "ndjson"):
        answer = client.get(f"{BULK}/values/?as={form}")
        assert answer["Content-Encoding"] == "gzip"
        assert "Accept-Encoding" in answer["Vary"]
        packed = content_of(answer)
        assert gzip.decompress(packed) == plain[form]
        assert len(packed) < len(plain[form]) / 3
    answer = client.get(f"{BULK}/values/?as=parquet")
    assert "Content-Encoding" not in answer
    assert content_of(answer) == plain["parquet"]


def test_a_stream_comes_in_pieces_of_bounded_size() -> None:
    many_values(5 * rows.ROWS)
    for form in ("csv", "ndjson"):
        answer: Any = Client().get(f"{BULK}/values/?as={form}")
        pieces = [len(piece) for piece in answer.streaming_content]
        assert len(pieces) >= 5
        assert max(pieces) < 1024 * 1024


@pytest.mark.parametrize("form", ["csv", "ndjson"])
def test_four_times_the_rows_take_no_more_memory(
    form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rows, "FETCHED", 400)
    monkeypatch.setattr(rows, "ROWS", 100)

    def peak() -> int:
        answer: Any = Client().get(f"{BULK}/values/?as={form}")
        tracemalloc.start()
        try:
            for _ in answer.streaming_content:
                pass
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    for number in range(6):
        many_values(rows.FETCHED, name=f"Model {number}")
    few = peak()
    for number in range(6, 24):
        many_values(rows.FETCHED, name=f"Model {number}")
    # What is held is a fetch and a batch; were everything held, it would be four times as much.
    assert peak() < 1.5 * few


def test_a_fault_before_the_first_row_is_told_as_a_problem(
    anyone: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(_: object) -> pa.RecordBatch:
        raise OperationalError("the database is away")

    monkeypatch.setattr(bulk_api, "value_rows", lambda **_: map(gone, [None]))
    assert_problem(anyone.get(f"{BULK}/values/"), 503, name="busy")


def test_a_fault_in_the_middle_leaves_the_stream_and_no_end(
    anyone: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand(make_adapter(), 0.1)

    def breaking(**asked: Any) -> Iterator[pa.RecordBatch]:
        yield from value_rows(**asked)
        raise OperationalError("the database went away")

    monkeypatch.setattr(bulk_api, "value_rows", breaking)
    answer: Any = anyone.get(f"{BULK}/values/")
    assert answer.status_code == 200
    with pytest.raises(OperationalError):
        b"".join(answer.streaming_content)


def test_a_client_that_leaves_closes_the_query(
    anyone: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed: list[bool] = []
    stand(make_adapter(), 0.1)

    def endless(**asked: Any) -> Iterator[pa.RecordBatch]:
        first = next(value_rows(**asked))
        try:
            while True:
                yield first
        finally:
            closed.append(True)

    monkeypatch.setattr(bulk_api, "value_rows", endless)
    answer: Any = anyone.get(f"{BULK}/values/")
    next(iter(answer.streaming_content))
    answer.close()
    del answer
    assert closed == [True]


def test_the_list_of_tables_says_what_is_in_them(anyone: APIClient) -> None:
    content = anyone.get(f"{BULK}/").json()
    assert content["next"] is None
    assert [table["name"] for table in content["results"]] == list(TABLES)
    for table in content["results"]:
        assert [form["name"] for form in table["forms"]] == ["csv", "ndjson", "parquet"]
        assert "as" in table["parameters"]
        head = content_of(anyone.get(table["address"])).decode().strip()
        assert head.split(",") == [column["name"] for column in table["columns"]]
        assert all(column["description"] for column in table["columns"])
        assert all(re.fullmatch("[a-z_]+", column["name"]) for column in table["columns"])
    units = {
        column["name"]: column["unit"]
        for table in content["results"]
        for column in table["columns"]
    }
    assert (units["output_v"], units["load_percent"], units["percentile"]) == ("V", "%", "%")


def test_moments_are_moments_in_parquet(anyone: APIClient) -> None:
    at = timezone.now()
    stand(make_adapter(), 0.1, since=at)
    (row,) = parquet_rows(
        content_of(anyone.get(f"{BULK}/history/?as=parquet&metric=no-load-power"))
    )
    assert row["current_from"] == at
    assert isinstance(row["current_from"], datetime)
    assert isinstance(row["current_from"].date(), date)
