"""Tables of results for tests, through the real reading and the real actions."""

from __future__ import annotations

from django.contrib.auth.models import User

from measurements.management.results import Results, bring_results
from measurements.management.table_files import tables_of
from measurements.models import ResultTable
from measurements.result_tables import accept_table

HEAD = "adapter,metric,line,value,standard_uncertainty"


def standby_table(*rows: tuple[str, float, float | None], head: str = HEAD) -> bytes:
    """Standby results at 230 V: adapter, value [W], standard uncertainty [W] or None."""
    lines = [
        f"{slug},no-load-power,high,{value!r},{'' if spread is None else repr(spread)}"
        for slug, value, spread in rows
    ]
    return "\n".join([head, *lines, ""]).encode()


def bring(content: bytes, *, by: User, origin: str = "Bench of 2019") -> Results:
    """What became of a table."""
    package = tables_of([("results.csv", content)])
    return bring_results(package, by=by, origin=origin)


def received_table(content: bytes, *, by: User) -> ResultTable:
    """A table of which at least one row was taken in."""
    table = bring(content, by=by).table
    assert table is not None
    return table


def accepted_table(content: bytes, *, by: User) -> ResultTable:
    """A table whose results stand."""
    return accept_table(received_table(content, by=by), by=by)
