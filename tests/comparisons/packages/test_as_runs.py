"""A package with raw files is a package of runs too: another site computes them anew."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command

from brickledger.management import demonstration
from catalog.models import Adapter, Maker, Unit
from fixtures.scenario import scenario
from measurements.actions import accept_run
from measurements.models import Instrument, RawFile, Run, Value
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.factories.catalog import make_adapter
from tests.factories.measurements import efficiency_log, make_meter, no_load_log, ready, receive

pytestmark = pytest.mark.django_db


def test_another_site_computes_the_same_values_from_the_files(tmp_path: Path, editor: User) -> None:
    meter = make_meter()
    logs = {"no-load": no_load_log(0.0512), "efficiency": efficiency_log(20.0)}
    adapter = make_adapter()
    for kind, content in logs.items():
        run = ready(adapter, content, kind=kind, instruments=(meter,), note="one\ntwo")
        accept_run(run, by=editor)
    path = bench.exported(tmp_path / "package.zip", with_raw=True)
    before = _values()
    _forget_all()

    make_meter()
    said = io.StringIO()
    call_command("intake", str(path), "--accept", stdout=said, stderr=io.StringIO())

    assert "2 read: 2 taken in, 0 already there, 0 refused." in said.getvalue()
    after = _values()
    assert after.keys() == before.keys()
    assert len(before) > 10
    for key, (value, uncertainty) in before.items():
        assert after[key] == pytest.approx((value, uncertainty), rel=1e-12)


def _values() -> dict[tuple[str, str, str], tuple[float, float]]:
    """Adapter, metric and condition → value and standard uncertainty that stand."""
    return {
        (value.adapter.slug, value.metric, value.condition_key): (
            value.value,
            value.standard_uncertainty,
        )
        for value in Value.objects.current().select_related("adapter")
    }


def _forget_all() -> None:
    """The site as it was before anybody wrote anything."""
    for model in (Value, Run, Unit, Adapter, Maker, Instrument, RawFile):
        model.objects.all().delete()


def test_the_rows_of_every_kind_are_taken_in(built: Built) -> None:
    # Instruments and devices are of the bench, and no table of runs brings them along.
    demonstration.write_catalogue(scenario(adapters=3, today=bench.TODAY))
    make_meter(name="Bench meter, with comma")
    err = io.StringIO()
    call_command("intake", str(built.raw), stdout=io.StringIO(), stderr=err)

    text = bench.contents(built.raw)["runs.csv"].decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert err.getvalue() == ""
    assert Run.objects.count() == len(rows)
    assert {run.kind for run in Run.objects.all()} == {row["kind"] for row in rows}


def test_the_id_of_a_row_is_read_over(tmp_path: Path) -> None:
    adapter = make_adapter()
    files = {
        "runs.csv": f"id,adapter,kind,file,mains_v\nwhatever,{adapter.slug},no-load,a.csv,230\n",
        "a.csv": no_load_log(0.05).decode(),
    }
    path = bench.packed(tmp_path / "p.zip", {name: text.encode() for name, text in files.items()})
    said = bench.said_by("intake", path)
    assert "1 read: 1 taken in" in said
    assert receive(adapter, no_load_log(0.05)).pk == Run.objects.get().pk
