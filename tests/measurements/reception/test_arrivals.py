"""A file from its arrival to its run: kept, read, described, handed in."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User

from measurements import processing, queries
from measurements.actions import Refused
from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.models import Arrival, Instrument, RawFile, Run
from measurements.models import ColumnMap as SavedMap
from measurements.reception import asked_of, describe, hand_in, keep_arrival, put_away
from measurements.reception.reading import read
from tests.factories.arrivals import arrived, foreign_log, looked_at
from tests.factories.catalog import make_adapter
from tests.factories.measurements import make_meter, no_load_log, ready

pytestmark = pytest.mark.django_db

HEADINGS = ["Takt (s)", "Kanal 1 (mW)", "Kanal 2 (mW)", "Netz (V)"]
STANDBY: dict[str, Any] = {
    "adapter": "northfold-solo-65",
    "kind": "no-load",
    "mains_v": "230",
    "instruments": ["Bench meter"],
}


@pytest.fixture(autouse=True)
def meter(db: None) -> None:
    """What the power is measured with."""
    make_meter()


def chosen_map() -> ColumnMap:
    return ColumnMap(
        headings=tuple((text, "") for text in HEADINGS),
        columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW"), None, None),
    )


def handed_in(arrival: Arrival, by: User, **words: str) -> Run:
    form = asked_of(arrival).form
    assert form.is_valid(), form.errors
    return hand_in(arrival, form.facts(), by=by, **words).run


def test_the_bytes_are_kept_before_anything_is_read(reviewer: User) -> None:
    arrival, is_new = keep_arrival([b"no table at all"], file_name="x.csv", by=reviewer)

    assert is_new
    assert not arrival.is_read
    assert queries.raw_store().check(arrival.raw_id) == "intact"
    assert RawFile.objects.filter(pk=arrival.raw_id, size=15).exists()


def test_the_same_bytes_by_the_same_name_wait_once(reviewer: User, editor: User) -> None:
    first, _ = keep_arrival([b"a,b\n1,2\n"], file_name="x.csv", by=reviewer)
    again, is_new = keep_arrival([b"a,b\n1,2\n"], file_name="x.csv", by=reviewer)
    other, other_is_new = keep_arrival([b"a,b\n1,2\n"], file_name="x.csv", by=editor)

    assert (again.pk, is_new) == (first.pk, False)
    assert other_is_new
    assert other.pk != first.pk


def test_a_file_is_recognised_and_its_values_are_those_of_the_run(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log(0.0432), **{**STANDBY, "kind": ""})

    asked = asked_of(arrival)
    assert asked.kind is not None
    assert asked.kind.slug == "no-load"
    assert asked.is_ready
    assert arrival.found is not None
    preview = {
        item["metric"]: (item["value"], item["standard_uncertainty"])
        for item in arrival.found["outcome"]["values"]
    }

    run = handed_in(arrival, reviewer)
    processing.compute(run.pk)

    assert preview == {
        row.metric: (row.value, row.standard_uncertainty) for row in run.values.all()
    }
    assert Arrival.objects.get(pk=arrival.pk).run == run


def test_what_is_looked_at_leaves_no_run_unit_or_value(reviewer: User) -> None:
    adapter = make_adapter()
    arrived(reviewer, no_load_log(), adapter=adapter.slug, mains_v="230", unit="77")

    assert not Run.objects.exists()
    assert not adapter.units.exists()
    assert not adapter.values.filter(run__isnull=False).exists()


def test_what_is_missing_is_asked_for_in_words(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log())

    needs = asked_of(arrival).needs

    assert any(need.startswith("Adapter:") for need in needs)
    assert any("mains voltage" in need for need in needs)


def test_a_new_description_is_read_anew_and_a_note_is_not(
    reviewer: User, django_capture_on_commit_callbacks: Any
) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log(), **STANDBY)

    noted = describe(arrival, said={**STANDBY, "note": "Warm."}, chosen=None)
    assert noted.is_read
    low = describe(noted, said={**STANDBY, "mains_v": "115"}, chosen=None)
    assert not low.is_read

    low = looked_at(low.pk)
    assert low.found is not None
    assert low.found["outcome"]["values"][0]["condition"] == {"line": "low"}


def test_a_reading_of_an_earlier_description_is_not_kept(
    reviewer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_adapter()
    arrival, _ = keep_arrival([no_load_log()], file_name="x.csv", by=reviewer, said=STANDBY)
    from measurements.reception import reading  # noqa: PLC0415

    examine = reading.examine_arrival

    def overtaken(waiting: Arrival, *words: Any) -> Any:
        found = examine(waiting, *words)
        describe(waiting, said={**STANDBY, "mains_v": "115"}, chosen=None)
        return found

    monkeypatch.setattr(reading, "examine_arrival", overtaken)
    read(arrival.pk)

    assert not Arrival.objects.get(pk=arrival.pk).is_read


def test_headings_of_its_own_are_asked_about_and_the_choice_is_kept(reviewer: User) -> None:
    make_adapter()
    first = arrived(reviewer, foreign_log(), **STANDBY)
    assert first.found is not None
    assert first.found["problem_count"]
    assert [item["text"] for item in first.found["evidence"]["headings"]] == HEADINGS
    assert [bool(item["could_be"]) for item in first.found["evidence"]["headings"]] == [
        False,
        True,
        True,
        False,
    ]

    describe(first, said=STANDBY, chosen=chosen_map())
    first = looked_at(first.pk)
    assert asked_of(first).is_ready
    run = handed_in(first, reviewer, map_name="Long bench")
    assert processing.compute(run.pk) == "ready"
    run.refresh_from_db()
    assert run.column_map is not None
    assert run.column_map.name == "Long bench"
    assert run.values.get(metric="no-load-power").value == pytest.approx(0.05, abs=2e-4)

    second = arrived(reviewer, foreign_log(0.06), file_name="second.csv", **STANDBY)
    assert second.found is not None
    assert second.found["evidence"]["map_name"] == "Long bench"
    assert asked_of(second).is_ready
    assert handed_in(second, reviewer).column_map == run.column_map


def test_another_choice_for_the_same_shape_retires_the_first(reviewer: User) -> None:
    make_adapter()
    for power_w, unit in ((0.05, "mW"), (0.06, "uW")):
        arrival = arrived(reviewer, foreign_log(power_w), file_name=f"{power_w}.csv", **STANDBY)
        columns = (Assigned("time_s", "s"), Assigned("input_power_w", unit), None, None)
        map_ = ColumnMap(headings=chosen_map().headings, columns=columns)
        describe(arrival, said=STANDBY, chosen=map_)
        handed_in(looked_at(arrival.pk), reviewer, map_name="Long bench", reason="Small.")

    assert [item.pure.columns[1] for item in SavedMap.objects.in_use()] == [
        Assigned("input_power_w", "uW")
    ]
    assert SavedMap.objects.count() == 2


def test_a_name_that_another_shape_has_is_refused(reviewer: User) -> None:
    make_adapter()
    SavedMap.objects.create(
        name="Long bench", kind="charge", fingerprint="0" * 64, content=chosen_map().as_json()
    )
    arrival = arrived(reviewer, foreign_log(), **STANDBY)
    describe(arrival, said=STANDBY, chosen=chosen_map())

    with pytest.raises(Refused, match="Another column map") as refusal:
        handed_in(looked_at(arrival.pk), reviewer, map_name="Long bench")
    assert refusal.value.field == "map_name"


def test_warnings_are_accepted_with_a_reason_that_stands_in_the_history(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log(minutes=5), **STANDBY)
    assert asked_of(arrival).needs == ("Warnings need a reason.",)

    with pytest.raises(Refused, match="warnings") as refusal:
        handed_in(arrival, reviewer)
    assert refusal.value.field == "reason"

    run = handed_in(arrival, reviewer, reason="  The bench was needed. ")
    event = run.events.get(what="warnings accepted")
    assert event.detail == "short-record: The bench was needed."
    assert event.by == reviewer


def test_an_overdue_calibration_is_a_warning_of_the_preview_and_of_the_run(
    reviewer: User,
) -> None:
    make_adapter()
    Instrument.objects.update(calibration_due=date(2026, 3, 31))
    arrival = arrived(reviewer, no_load_log(), **STANDBY, measured_at="2026-03-31 10:00")
    assert asked_of(arrival).is_ready

    late = describe(arrival, said={**STANDBY, "measured_at": "2026-04-01 10:00"}, chosen=None)
    late = looked_at(late.pk)
    assert asked_of(late).needs == ("Warnings need a reason.",)
    run = handed_in(late, reviewer, reason="Checked against the second meter.")
    processing.compute(run.pk)
    flag = run.flags.get(code="calibration-overdue")
    assert "Bench meter was due on 2026-03-31" in flag.detail


def test_a_file_with_problems_is_not_handed_in(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, b"time_s,input_power_w\n0,0.2\n1,n/a\n", **STANDBY)

    assert arrival.found is not None
    assert arrival.found["problems"][0]["row"] == 3
    with pytest.raises(Refused, match="mend what is listed"):
        handed_in(arrival, reviewer)
    assert not Run.objects.exists()


def test_what_is_put_away_is_not_handed_in_and_its_bytes_stay(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log(), **STANDBY)
    put_away(arrival)

    with pytest.raises(Refused, match="put away"):
        handed_in(Arrival.objects.get(pk=arrival.pk), reviewer)
    assert queries.raw_store().check(arrival.raw_id) == "intact"
    assert not Arrival.objects.waiting().exists()


def test_a_file_is_handed_in_once(reviewer: User) -> None:
    make_adapter()
    arrival = arrived(reviewer, no_load_log(), **STANDBY)
    handed_in(arrival, reviewer)

    with pytest.raises(Refused, match="already"):
        handed_in(Arrival.objects.get(pk=arrival.pk), reviewer)
    assert Run.objects.count() == 1


def test_a_file_whose_run_is_there_leads_to_it(reviewer: User) -> None:
    adapter = make_adapter()
    there = ready(adapter, no_load_log(), instruments=(Instrument.objects.get(),))
    arrival = arrived(reviewer, no_load_log(), **STANDBY)

    assert handed_in(arrival, reviewer) == there
    assert Run.objects.count() == 1


def test_an_unknown_device_is_written_down_only_with_the_run(reviewer: User) -> None:
    from catalog.models import Device  # noqa: PLC0415

    make_adapter()
    log = b"time_s,voltage_v,current_a\n" + b"".join(
        b"%d,20,%.2f\n" % (second, 2.0 if second < 3000 else 0.05) for second in range(0, 4000, 10)
    )
    said = {**STANDBY, "kind": "charge", "device": "Kestrel 14"}
    arrival = arrived(reviewer, log, **said)

    assert arrival.found is not None
    assert arrival.found["outcome"] is not None
    assert not Device.objects.exists()


def test_a_worker_that_has_no_room_says_so_and_nothing_dies(
    reviewer: User, settings: Any, tmp_path: Path
) -> None:
    make_adapter()
    settings.READ_CPU_SECONDS = 1
    settings.READ_MEMORY_BYTES = 64 << 20
    arrival = arrived(reviewer, no_load_log(minutes=60 * 24 * 20), **STANDBY)

    assert arrival.found is not None
    assert arrival.found["failure"]
    assert asked_of(arrival).needs[0] == arrival.found["failure"]
