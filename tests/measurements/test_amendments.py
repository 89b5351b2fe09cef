"""Corrections of what was said about a run's file: action, page, API, history."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoCaptureOnCommitCallbacks
from pytest_django.fixtures import Settings

from catalog.models import Adapter, Device
from measurements import processing
from measurements.actions import (
    Refused,
    RunFacts,
    accept_run,
    amend_run,
    receive_run,
    withdraw_run,
)
from measurements.forms import RunForm
from measurements.models import Amendment, Ledger, Run, RunEvent, Value
from measurements.queries import port_capabilities
from tests.factories.api import client_of
from tests.factories.catalog import make_adapter
from tests.factories.measurements import (
    accepted,
    efficiency_log,
    make_meter,
    no_load_log,
    ready,
    receive,
)

pytestmark = pytest.mark.django_db

MOMENT = datetime(2026, 4, 4, 14, 30, tzinfo=UTC)


def facts_of(run: Run, **changes: Any) -> RunFacts:
    """The run's present facts, some of them changed."""
    return RunFacts(
        **{
            "adapter": run.adapter,
            "kind": run.kind,
            "unit": run.unit.serial,
            "mains_v": run.mains_v,
            "mains_hz": run.mains_hz,
            "ambient_c": run.ambient_c,
            "port": run.port,
            "instruments": tuple(run.instruments.all()),
            "method_fields": run.method_fields,
            "measured_at": run.measured_at,
            "note": run.note,
            **changes,
        }
    )


def amend(run: Run, *, by: Any, reason: str = "It was said wrongly.", **changes: Any) -> Run:
    """The run amended from its present state, not computed yet."""
    run = Run.objects.get(pk=run.pk)
    seen = run.amendments.count()
    return amend_run(run, facts_of(run, **changes), by=by, reason=reason, seen=seen)


def computed(run: Run) -> Run:
    processing.compute(run.pk)
    return Run.objects.get(pk=run.pk)


def standing(adapter: Adapter) -> dict[tuple[str, str], tuple[float, float]]:
    """The values of runs that readers see today."""
    rows = Value.objects.current().filter(adapter=adapter, run__isnull=False)
    return {(row.metric, row.condition_key): (row.value, row.standard_uncertainty) for row in rows}


def stands_from(adapter: Adapter) -> set[Any]:
    rows = Value.objects.current().filter(adapter=adapter, metric="no-load-power")
    return set(rows.values_list("run", flat=True))


# What an amendment does.


def test_an_amendment_corrects_the_conditions_and_keeps_file_hash_and_id(editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    sha256, file_name, received_at = run.raw_id, run.file_name, run.received_at
    amended = amend(run, by=editor, mains_v=115.0, mains_hz=60.0, ambient_c=22.5)
    assert (amended.state, amended.standing) == ("received", "provisional")
    assert Run.objects.get() == run
    run = computed(run)
    assert (run.raw_id, run.file_name, run.received_at) == (sha256, file_name, received_at)
    assert (run.mains_v, run.mains_hz, run.line, run.ambient_c) == (115.0, 60.0, "low", 22.5)
    assert {value.line for value in run.values.filter(current_until=None)} == {"low"}


def test_the_old_state_who_when_and_why_are_kept(editor: User, reviewer: User) -> None:
    run = accepted(make_adapter(), by=editor, measured_at=MOMENT, instruments=(make_meter(),))
    identity = run.identity
    before = timezone.now()
    amend(
        run,
        by=editor,
        reason="  The other supply.  ",
        mains_v=115.0,
        instruments=(),
        measured_at=MOMENT + timedelta(days=1),
        method_fields={"lead_resistance_ohm": 0.01},
    )
    kept = Amendment.objects.get()
    assert (kept.run, kept.by, kept.reason, kept.identity) == (
        run,
        editor,
        "The other supply.",
        identity,
    )
    assert before <= kept.at <= timezone.now()
    assert kept.before == {
        "mains_v": 230.0,
        "instruments": ["Bench meter"],
        "measured_at": "2026-04-04T14:30:00+00:00",
        "lead_resistance_ohm": None,
    }
    assert kept.after == {
        "mains_v": 115.0,
        "instruments": [],
        "measured_at": "2026-04-05T14:30:00+00:00",
        "lead_resistance_ohm": 0.01,
    }
    event = RunEvent.objects.get(run=run, what="amended")
    assert (event.by, event.detail) == (editor, "The other supply.")


def test_values_under_the_wrong_conditions_stand_no_longer(editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    stamp, stood = Ledger.read(), standing(adapter)
    assert stood
    amended = amend(run, by=editor, mains_v=115.0)
    assert standing(adapter) == {}
    assert Ledger.read() != stamp
    # What readers saw is kept as a closed fact.
    closed = Value.objects.filter(run=run, current_from__isnull=False, current_until__isnull=False)
    assert {(row.metric, row.condition_key) for row in closed} == set(stood)
    assert (amended.accepted_at, amended.flags.count(), amended.verdicts.count()) == (None, 0, 0)
    assert (amended.trace, amended.plot, amended.details) == (None, None, {})
    accept_run(computed(run), by=editor)
    assert {key for _, key in standing(adapter)} == {"line=low"}


def test_what_the_amended_run_had_displaced_stands_again(editor: User) -> None:
    adapter = make_adapter()
    first = accepted(adapter, no_load_log(0.05), by=editor)
    second = accepted(adapter, no_load_log(0.06), by=editor)
    amend(second, by=editor, mains_v=115.0)
    first.refresh_from_db()
    assert (first.standing, first.superseded_by) == ("accepted", None)
    assert RunEvent.objects.get(run=first, what="reinstated").detail == (
        "its successor was amended"
    )
    assert stands_from(adapter) == {first.pk}
    accept_run(computed(second), by=editor)
    assert stands_from(adapter) == {first.pk, second.pk}


def test_a_run_moves_to_the_adapter_that_was_on_the_bench(editor: User) -> None:
    wrong, right = make_adapter(), make_adapter("Duo 65")
    run = accepted(wrong, by=editor, port=wrong.ports.get())
    amend(run, by=editor, adapter=right, unit="B-7", port=right.ports.get())
    run = accept_run(computed(run), by=editor)
    assert (run.adapter, run.unit.adapter, run.unit.serial) == (right, right, "B-7")
    assert run.port is not None
    assert run.port.adapter == right
    assert standing(wrong) == {}
    assert stands_from(right) == {run.pk}


def test_values_from_before_an_amendment_are_never_brought_back(editor: User) -> None:
    wrong, right = make_adapter(), make_adapter("Duo 65")
    moved = accepted(wrong, no_load_log(0.05), by=editor)
    amend(moved, by=editor, adapter=right)
    moved = accept_run(computed(moved), by=editor)
    other = accepted(wrong, no_load_log(0.06), by=editor)
    withdraw_run(other, by=editor, reason="the meter was off")
    # Without the amendment the value of `moved` would be the newest that `other` displaced.
    assert standing(wrong) == {}
    assert stands_from(right) == {moved.pk}


def test_a_run_lists_only_what_its_present_conditions_give(editor: User) -> None:
    adapter = make_adapter()
    accepted(adapter, no_load_log(0.04), by=editor)
    run = accepted(adapter, no_load_log(0.05), by=editor)
    # What it displaced stands again from the moment at which its own value is closed.
    amend(run, by=editor, mains_v=115.0)
    accept_run(computed(run), by=editor)
    shown = client_of(None).get(f"/api/v1/runs/{run.pk}/").json()
    assert {item["condition"]["line"] for item in shown["metrics"]} == {"low"}
    assert all(item["current"] for item in shown["metrics"])


def test_an_equal_value_is_computed_anew_and_stands_on_acceptance(editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    before = standing(adapter)
    amend(run, by=editor, measured_at=MOMENT)  # no number depends on it
    assert standing(adapter) == {}
    accept_run(computed(run), by=editor)
    assert standing(adapter) == before


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    steps=st.lists(
        st.fixed_dictionaries(
            {},
            optional={
                "mains_v": st.floats(90.0, 132.0) | st.floats(180.0, 264.0),
                "mains_hz": st.sampled_from([None, 50.0, 60.0]),
                "ambient_c": st.none() | st.floats(-40.0, 90.0),
                "unit": st.sampled_from(["1", "2"]),
                "adapter": st.sampled_from(["Solo 65", "Duo 65"]),
                "measured_at": st.sampled_from([None, MOMENT]),
                "meter": st.booleans(),
                "accepts": st.booleans(),
            },
        ),
        max_size=4,
    )
)
def test_amending_back_and_accepting_gives_identical_values(
    steps: list[dict[str, Any]], editor: User
) -> None:
    with transaction.atomic():
        adapters = {name: make_adapter(name) for name in ("Solo 65", "Duo 65")}
        meter = make_meter()
        run = accepted(adapters["Solo 65"], no_load_log(minutes=5), by=editor, instruments=(meter,))
        identity, conditions = run.identity, run.conditions
        first = standing(run.adapter)
        original = facts_of(run)
        for step in steps:
            changes = dict(step)
            accepts = changes.pop("accepts", False)
            if "adapter" in changes:
                changes["adapter"] = adapters[changes["adapter"]]
            if "meter" in changes:
                changes["instruments"] = (meter,) if changes.pop("meter") else ()
            now = Run.objects.get(pk=run.pk)
            if facts_of(now, **changes).conditions == now.conditions:
                continue
            amend(run, by=editor, **changes)
            if accepts:
                accept_run(computed(run), by=editor)
        now = Run.objects.get(pk=run.pk)
        if now.conditions != conditions:
            amend_run(now, original, by=editor, reason="back", seen=now.amendments.count())
        now = computed(now)
        if now.standing != "accepted":
            accept_run(now, by=editor)
        now = Run.objects.get(pk=run.pk)
        assert (now.identity, now.conditions) == (identity, conditions)
        assert standing(adapters["Solo 65"]) == first
        assert standing(adapters["Duo 65"]) == {}
        transaction.set_rollback(True)


# Under the queue.


def test_an_amended_run_is_due_at_once_and_the_bell_is_rung(
    editor: User,
    bell: list[str],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    run = ready(make_adapter())
    Run.objects.filter(pk=run.pk).update(attempts=3, error="an earlier one")
    bell.clear()
    with django_capture_on_commit_callbacks(execute=True):
        amended = amend(run, by=editor, mains_v=115.0)
    assert bell == [str(run.pk)]
    assert (amended.attempts, amended.error, amended.lease_until) == (0, "", None)
    assert amended.fence == run.fence + 1
    assert run in Run.objects.due()


def test_a_worker_that_computes_the_old_conditions_writes_nothing(
    editor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = receive(make_adapter())
    measure = processing._measure

    def amended_meanwhile(*args: Any) -> Any:
        outcome = measure(*args)
        monkeypatch.setattr(processing, "_measure", measure)
        amend(run, by=editor, mains_v=115.0)
        return outcome

    monkeypatch.setattr(processing, "_measure", amended_meanwhile)
    assert processing.compute(run.pk) == "received"
    assert not run.values.exists()
    assert computed(run).state == "ready"
    assert {value.line for value in run.values.all()} == {"low"}


@pytest.mark.parametrize("state", ["rejected", "set-aside"])
def test_a_run_that_could_not_be_computed_can_be_amended(editor: User, state: str) -> None:
    run = receive(make_adapter())
    Run.objects.filter(pk=run.pk).update(
        state=state, error="x", problems=[{"detail": "y"}], problem_count=1
    )
    amended = amend(run, by=editor, mains_v=115.0)
    assert (amended.state, amended.error, amended.problems, amended.problem_count) == (
        "received",
        "",
        [],
        0,
    )
    assert computed(run).state == "ready"


def test_runs_that_read_the_amended_one_are_computed_again(
    editor: User,
    bell: list[str],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    adapter, other = make_adapter(), make_adapter("Duo 65")
    # A fixed supply of 5 V and 3 A.
    scan_file = b"port,position,word\nC1,1,0x0801912C\n"
    scan = accepted(adapter, scan_file, kind="port-scan", mains_v=None, by=editor)
    sweep = accepted(adapter, efficiency_log(5.0), kind="efficiency", by=editor)
    assert not sweep.flags.filter(code="assumed-rating").exists()
    bell.clear()
    with django_capture_on_commit_callbacks(execute=True):
        amend(scan, by=editor, adapter=other)
    assert sorted(bell) == sorted([str(scan.pk), str(sweep.pk)])
    assert computed(sweep).flags.filter(code="assumed-rating").exists()
    accept_run(computed(scan), by=editor)
    assert port_capabilities(adapter)[0].run_id is None
    assert port_capabilities(other)[0].run_id == scan.pk


def test_values_that_compare_adapters_follow_an_amendment(editor: User) -> None:
    one, two, three = make_adapter("One"), make_adapter("Two"), make_adapter("Three")

    def match(adapter: Adapter, current_a: float) -> Run:
        Device.objects.get_or_create(slug="laptop", defaults={"name": "Laptop"})
        file = f"device,port,voltage_v,current_a\nlaptop,C1,20,{current_a}\n".encode()
        return accepted(adapter, file, kind="device-match", mains_v=None, by=editor)

    def rates() -> dict[str, float]:
        rows = Value.objects.current().filter(metric="match-rate")
        return dict(rows.values_list("adapter__name", "value"))

    match(one, 2.0)
    better = match(two, 3.0)
    assert rates() == {"One": 0.0, "Two": 100.0}
    amend(better, by=editor, adapter=three)
    assert rates() == {"One": 100.0}
    accept_run(computed(better), by=editor)
    assert rates() == {"One": 0.0, "Three": 100.0}


# Who may, and what is refused.


def test_the_uploader_may_amend_a_provisional_run_only(
    reviewer: User, editor: User, person: Callable[[str], User], settings: Settings
) -> None:
    run = ready(make_adapter(), by=reviewer)
    for stranger in (person("reviewer"), person("reader"), None):
        with pytest.raises(PermissionError, match="handed it in"):
            amend(run, by=stranger, mains_v=115.0)
    run = computed(amend(run, by=reviewer, mains_v=115.0))
    accept_run(run, by=editor)
    with pytest.raises(PermissionError):
        amend(run, by=reviewer, mains_v=230.0)
    settings.REVIEWERS_ACCEPT_OWN_RUNS = True
    assert amend(run, by=reviewer, mains_v=230.0).standing == "provisional"


@pytest.mark.parametrize("end", ["withdrawn", "superseded"])
def test_a_run_that_is_over_is_not_amended(editor: User, end: str) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    if end == "withdrawn":
        withdraw_run(run, by=editor, reason="broken")
    else:
        accepted(adapter, no_load_log(0.06), by=editor)
    with pytest.raises(Refused, match=f"is {end}; only a provisional or an accepted"):
        amend(run, by=editor, mains_v=115.0)
    assert not Amendment.objects.exists()


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"reason": " ", "mains_v": 115.0}, "Say why"),
        ({}, "Nothing would change"),
        ({"kind": "efficiency"}, "The kind of a run stays"),
    ],
)
def test_a_refused_amendment_changes_nothing(
    editor: User, said: dict[str, Any], sentence: str
) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    before = Run.objects.values().get(), standing(adapter), Ledger.read()
    with pytest.raises(Refused, match=sentence):
        amend(run, by=editor, **said)
    assert (Run.objects.values().get(), standing(adapter), Ledger.read()) == before
    assert not Amendment.objects.exists()


def test_two_runs_of_one_file_are_not_amended_into_one(editor: User) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    other = receive(adapter, mains_v=115.0)
    before = Run.objects.order_by("pk").values(), standing(adapter)
    with pytest.raises(Refused, match=f"Run {other.pk} holds this file"):
        amend(run, by=editor, mains_v=116.0)
    assert (Run.objects.order_by("pk").values()[0]["mains_v"], standing(adapter)) == (
        230.0,
        before[1],
    )
    withdraw_run(other, by=editor, reason="it was handed in twice")
    assert amend(run, by=editor, mains_v=116.0).line == "low"


def test_an_integrity_error_of_another_kind_is_not_swallowed(
    editor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = ready(make_adapter())

    def broken(*_: object, **__: object) -> None:
        raise IntegrityError("a constraint of something else")

    monkeypatch.setattr(Run, "save", broken)
    with pytest.raises(IntegrityError):
        amend(run, by=editor, mains_v=115.0)


def test_nobody_undoes_an_amendment_that_was_not_seen(editor: User) -> None:
    run = ready(make_adapter())
    stale = facts_of(run, ambient_c=25.0)
    amend(run, by=editor, mains_v=115.0)
    with pytest.raises(Refused, match="amended meanwhile"):
        amend_run(run, stale, by=editor, reason="the room", seen=0)


def test_a_run_that_was_moved_is_judged_only_by_who_saw_it(editor: User) -> None:
    run = ready(make_adapter())
    amend(run, by=editor, adapter=make_adapter("Duo 65"))
    computed(run)
    with pytest.raises(Refused, match="moved to another adapter"):
        accept_run(run, by=editor)
    with pytest.raises(Refused, match="moved to another adapter"):
        withdraw_run(run, by=editor, reason="broken")


def test_what_is_sent_again_after_an_amendment_makes_no_second_run(editor: User) -> None:
    adapter = make_adapter()
    run = ready(adapter)
    said = facts_of(run)
    amend(run, by=editor, mains_v=115.0)
    again = receive_run(said, chunks=[no_load_log()], file_name="log.csv", by=editor)
    assert (again.run, again.created) == (run, False)
    # Once it is withdrawn, the file may come in again under any conditions.
    withdraw_run(Run.objects.get(), by=editor, reason="broken")
    assert receive_run(said, chunks=[no_load_log()], file_name="log.csv", by=editor).created


def test_a_device_named_for_the_first_time_is_written_down(editor: User) -> None:
    log = b"time_s,output_voltage_v,output_current_a\n" + b"".join(
        b"%d,20,1\n" % second for second in range(60)
    )
    Device.objects.create(name="Marten phone", slug="marten-phone")
    run = receive(
        make_adapter(), log, kind="charge", mains_v=None, devices={"device": "Marten phone"}
    )
    fields = {name: value for name, value in run.method_fields.items() if name != "device"}
    amend(run, by=editor, method_fields=fields, devices={"device": "Otterling phone"})
    run.refresh_from_db()
    assert run.method_fields["device"] == "otterling-phone"
    assert RunEvent.objects.get(run=run, what="device added").detail == "Otterling phone"
    assert Amendment.objects.get().after["device"] == "otterling-phone"


# What readers see.


def test_readers_see_the_amendments_of_public_runs_and_of_no_others(editor: User) -> None:
    run = accepted(make_adapter(), by=editor)
    amend(run, by=editor, reason="It was the other supply.", mains_v=115.0)
    computed(run)
    page, call = f"/runs/{run.pk}/", f"/api/v1/runs/{run.pk}/"
    reader, anyone = Client(), client_of(None)
    assert reader.get(page).status_code == 404
    assert anyone.get(call).status_code == 404
    accept_run(Run.objects.get(), by=editor)
    text = reader.get(page).content.decode()
    assert "amended: mains 230 V → 115 V" in text
    assert "It was the other supply." in text
    assert "Values that stood until then" in text
    (told,) = anyone.get(call).json()["amendments"]
    assert (told["reason"], told["before"], told["after"], told["by"]) == (
        "It was the other supply.",
        {"mains_v": 230.0},
        {"mains_v": 115.0},
        editor.username,
    )


def test_an_embargoed_adapter_is_not_named_by_an_amendment(editor: User) -> None:
    tomorrow = timezone.now().date() + timedelta(days=1)
    secret = make_adapter("Quartet 200", publish_on=tomorrow)
    run = accepted(secret, by=editor, unit="Quartet-1")
    amend(run, by=editor, reason="Another one.", unit="Quartet-2")
    accept_run(computed(run), by=editor)
    amend(run, by=editor, reason="Another model.", adapter=make_adapter(), unit="1")
    accept_run(computed(run), by=editor)
    page, address = f"/runs/{run.pk}/", f"/api/v1/runs/{run.pk}/"
    text = Client().get(page).content.decode()
    for shown in (text, client_of(None).get(address).content.decode()):
        assert "northfold-solo-65" in shown
        assert "uartet" not in shown
    assert "adapter an adapter that is not shown here → northfold-solo-65" in text
    assert "Values that stood" not in text
    (told,) = client_of(None).get(address).json()["amendments"]
    assert told["before"] == {"adapter": None, "unit": None}
    assert told["after"] == {"adapter": "northfold-solo-65", "unit": "1"}
    first, second = client_of(editor).get(address).json()["amendments"]
    assert first["before"] == {"unit": "Quartet-1"}
    assert second["before"] == {"adapter": secret.slug, "unit": "Quartet-2"}


def test_every_kind_says_the_fields_that_an_amendment_prefills(editor: User) -> None:
    """The conditions of a run and the fields of its form are named alike."""
    run = ready(make_adapter())
    common = set(RunForm(viewer=editor).fields) - {"kind"}
    assert set(run.conditions) - set(run.method_fields) == common
