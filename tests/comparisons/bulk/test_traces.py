"""The download of traces: every number of every accepted run, with its unit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from rest_framework.test import APIClient

from comparisons.bulk import rows as rows_module
from comparisons.bulk import traces
from comparisons.bulk.traces import units_of_trace
from measurements.actions import withdraw_run
from measurements.kinds import get_kind
from measurements.models import Run
from tests.comparisons.bulk.reading import BULK, content_of, csv_rows, downloaded, parquet_rows
from tests.factories.api import client_of, faulty_fields
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, efficiency_log, ready

pytestmark = pytest.mark.django_db


@pytest.fixture
def anyone() -> APIClient:
    return client_of(None)


def folded(rows: list[dict[str, Any]], run: Run) -> dict[str, list[float | None]]:
    """The trace of a run, put together again from its rows."""
    columns: dict[str, list[float | None]] = {}
    for row in rows:
        if row["run"] == str(run.pk):
            column = columns.setdefault(row["column"], [])
            assert row["point"] == len(column)
            column.append(row["value"])
    return columns


def test_a_trace_can_be_put_together_again(
    anyone: APIClient, editor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(traces, "ROWS", 7)
    monkeypatch.setattr(rows_module, "ROWS", 7)
    adapter = make_adapter()
    runs = [
        accepted(adapter, by=editor),
        accepted(adapter, efficiency_log(5.0, 20.0), kind="efficiency", by=editor),
    ]
    ready(make_adapter("Solo 45"))
    rows = downloaded(anyone, "traces")
    assert {row["run"] for row in rows} == {str(run.pk) for run in runs}
    assert {row["adapter"] for row in rows} == {adapter.slug}
    for run in runs:
        assert run.trace
        assert folded(rows, run) == run.trace
    assert any(row["value"] is None for row in rows)
    typed = parquet_rows(content_of(anyone.get(f"{BULK}/traces/?as=parquet")))
    assert typed == rows
    assert len(csv_rows(content_of(anyone.get(f"{BULK}/traces/")))) == len(rows)


def test_every_column_of_a_trace_has_the_unit_of_its_axis_or_heading(
    anyone: APIClient, editor: User
) -> None:
    adapter = make_adapter()
    accepted(adapter, by=editor)
    accepted(adapter, efficiency_log(5.0), kind="efficiency", by=editor)
    units = {row["column"]: row["unit"] for row in downloaded(anyone, "traces")}
    assert units == {
        "time_min": "min",
        "input_power_w": "W",
        "output_nominal_v": "V",
        "output_current_a": "A",
        "output_voltage_v": "V",
        "output_power_w": "W",
        "loss_w": None,
        "efficiency_5v": "%",
    }


def test_a_family_of_sensors_has_its_unit_as_people_write_it() -> None:
    assert any(column.name == "*_c" for column in get_kind("thermal").columns)
    assert units_of_trace("thermal", {}, ["prong_c", "time_min"]) == {"prong_c": "°C"}
    assert units_of_trace("a-kind-that-went", {}, ["prong_c"]) == {}


def test_traces_are_narrowed_by_kind_adapter_and_run(anyone: APIClient, editor: User) -> None:
    adapter, other = make_adapter(), make_adapter("Solo 45")
    standby = accepted(adapter, by=editor)
    sweep = accepted(adapter, efficiency_log(5.0), kind="efficiency", by=editor)
    elsewhere = accepted(other, by=editor)
    for query, runs in (
        ("kind=no-load", {standby, elsewhere}),
        (f"adapter={adapter.slug}", {standby, sweep}),
        (f"run={sweep.pk}", {sweep}),
        (f"run={sweep.pk}&kind=no-load", set()),
    ):
        found = {row["run"] for row in downloaded(anyone, "traces", query)}
        assert found == {str(run.pk) for run in runs}


def test_only_what_readers_may_see_is_in_it(anyone: APIClient, editor: User) -> None:
    late = timezone.now().date() + timedelta(days=9)
    hidden = accepted(make_adapter("Duo 100", publish_on=late), by=editor)
    provisional = ready(make_adapter("Duo 65"))
    withdrawn = accepted(make_adapter(), by=editor)
    withdraw_run(withdrawn, by=editor, reason="Wrong lead.")
    assert {row["run"] for row in downloaded(anyone, "traces")} == {str(withdrawn.pk)}
    seen = {row["run"] for row in downloaded(client_of(editor), "traces")}
    assert seen == {str(withdrawn.pk), str(hidden.pk)}
    assert faulty_fields(anyone.get(f"{BULK}/traces/?run={hidden.pk}")) == {"run"}
    assert faulty_fields(anyone.get(f"{BULK}/traces/?run={provisional.pk}")) == {"run"}
    assert downloaded(client_of(editor), "traces", f"run={provisional.pk}") == []


@pytest.mark.parametrize(
    ("query", "field"),
    [("run=7", "run"), ("kind=horse", "kind"), ("points=5", "points"), ("adapter=x", "adapter")],
)
def test_what_is_not_understood_is_refused(anyone: APIClient, query: str, field: str) -> None:
    assert faulty_fields(anyone.get(f"{BULK}/traces/?{query}")) == {field}
