"""Column maps beyond the page: uploads of programs, recomputes, amendments."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from measurements import processing
from measurements.actions import RunFacts, amend_run
from measurements.intake.column_maps import Assigned
from measurements.intake.column_maps import ColumnMap as PureMap
from measurements.models import ColumnMap, Run
from tests.factories.arrivals import foreign_log
from tests.factories.catalog import make_adapter
from tests.factories.measurements import ready

pytestmark = pytest.mark.django_db

HEADINGS = ("Takt (s)", "Kanal 1 (mW)", "Kanal 2 (mW)", "Netz (V)")


def saved(channel: int = 1, *, name: str = "Long bench") -> ColumnMap:
    """A map of the bench by which one of the two channels is the input power."""
    columns: list[Assigned | None] = [Assigned("time_s", "s"), None, None, None]
    columns[channel] = Assigned("input_power_w", "mW")
    pure = PureMap(headings=tuple((text, "") for text in HEADINGS), columns=tuple(columns))
    return ColumnMap.objects.create(
        name=name, kind="no-load", fingerprint=pure.fingerprint, content=pure.as_json()
    )


def test_what_a_program_sends_is_read_by_the_map_of_its_shape() -> None:
    map_ = saved()
    run = ready(make_adapter(), foreign_log(0.05))

    assert run.state == Run.State.READY
    assert run.column_map == map_
    assert "Column map ‘Long bench’ applied." in run.reading_notes
    assert run.values.get(metric="no-load-power").value == pytest.approx(0.05, abs=2e-4)


def test_without_a_map_the_same_file_is_rejected_and_computed_once_there_is_one() -> None:
    run = ready(make_adapter(), foreign_log(0.05))
    assert run.state == Run.State.REJECTED

    saved()
    assert processing.compute(run.pk, again=True) == "ready"


def test_a_recompute_reads_by_the_map_of_before_whatever_replaced_it() -> None:
    first = saved()
    run = ready(make_adapter(), foreign_log(0.05))
    ColumnMap.objects.update(retired_at=run.received_at)
    saved(2, name="Other channel")

    assert processing.compute(run.pk, again=True) == "ready"
    run.refresh_from_db()
    assert run.column_map == first
    assert run.values.get(metric="no-load-power").value == pytest.approx(0.05, abs=2e-4)


def test_an_amended_run_is_read_by_its_map(editor: User) -> None:
    saved()
    adapter = make_adapter()
    run = ready(adapter, foreign_log(0.05))
    facts = RunFacts(adapter=adapter, kind="no-load", mains_v=115.0)

    amend_run(run, facts, by=editor, reason="The other mains.", seen=0)
    assert processing.compute(run.pk) == "ready"

    assert run.values.get(metric="no-load-power", current_until=None).line == "low"
