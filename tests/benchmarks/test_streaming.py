"""Bulk downloads against the bare database driver reading the same rows.

    python -m pytest tests/benchmarks/test_streaming.py -s

The driver executes the very SQL of the download and fetches it to the end, 2000 rows at a time,
on the connection of `sqlite3` or of `psycopg` itself. The rounds take turns, so that both meet
the same moments of the machine. With DATABASE_URL set it is measured on PostgreSQL.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.db.models import QuerySet
from django.test import Client
from django.test.utils import CaptureQueriesContext

from comparisons.bulk import rows
from comparisons.bulk.formats import FORMATS
from measurements.models import Value
from tests.benchmarks.season import fill

ADAPTERS = 30_000
ROWS = 10 * ADAPTERS
FETCHED = 2000
ROUNDS = 5
ADDRESS = "/api/v1/bulk"


def turn_about(actions: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Median duration of each [s]; every round does all of them once."""
    durations: dict[str, list[float]] = {name: [] for name in actions}
    for number in range(ROUNDS + 1):
        for name, action in actions.items():
            begin = time.perf_counter()
            action()
            if number:  # the first round warms up
                durations[name].append(time.perf_counter() - begin)
    return {name: statistics.median(found) for name, found in durations.items()}


def query_of(table: str, monkeypatch: pytest.MonkeyPatch) -> tuple[str, Any]:
    """The SQL that a download runs and its parameters, for the driver."""
    caught: list[QuerySet[Any]] = []
    way = "_copied" if connection.vendor == "postgresql" else "_fetched"
    real = getattr(rows, way)

    def caught_query(found: QuerySet[Any], *args: Any) -> Any:
        caught.append(found)
        return real(found, *args)

    with monkeypatch.context() as patch:
        patch.setattr(rows, way, caught_query)
        answer: Any = Client().get(f"{ADDRESS}/{table}/")
        answer.close()
    sql, parameters = caught[0].query.sql_with_params()
    if connection.vendor == "sqlite":
        sql = sql.replace("%s", "?").replace("%%", "%")
    return sql, parameters


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_downloads_beside_the_driver_reading_the_same_rows(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fill(ADAPTERS)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    for table in ("values", "history"):
        measure(table, monkeypatch)


def measure(table: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Time the forms of one table, and print them as multiples of the driver's speed."""
    sql, parameters = query_of(table, monkeypatch)

    def driver() -> None:
        connection.ensure_connection()
        cursor = connection.connection.cursor()
        cursor.execute(sql, parameters)
        count = 0
        while found := cursor.fetchmany(FETCHED):
            count += len(found)
        cursor.close()
        assert count == ROWS

    def download(form: str, **headers: str) -> Callable[[], None]:
        def read() -> None:
            client = Client(headers=headers)
            answer: Any = client.get(f"{ADDRESS}/{table}/?as={form}")
            size = sum(len(piece) for piece in answer.streaming_content)
            answer.close()
            assert size > ROWS

        return read

    actions: dict[str, Callable[[], object]] = {"driver": driver}
    actions |= {form: download(form) for form in FORMATS}
    found = turn_about(actions)
    for name in ("csv", "ndjson"):
        begin = time.perf_counter()
        download(name, **{"Accept-Encoding": "gzip"})()
        found[f"{name}, gzip"] = time.perf_counter() - begin
    print(f"\n{ROWS:,} rows of {table} on {connection.vendor}")
    for name, duration_s in found.items():
        print(
            f"{name:>14}: {ROWS / duration_s:>10,.0f} rows a second, "
            f"{found['driver'] / duration_s:.2f} times the driver's speed"
        )


@pytest.mark.django_db
def test_the_download_reads_in_one_query() -> None:
    fill(300)
    with CaptureQueriesContext(connection) as queries:
        answer: Any = Client().get(f"{ADDRESS}/values/")
        pieces = sum(1 for _ in answer.streaming_content)
    assert pieces == 1 + math.ceil(Value.objects.count() / rows.ROWS)
    assert len(queries) == 2  # the ledger's stamp before it
