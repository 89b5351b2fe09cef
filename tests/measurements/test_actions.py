"""What people do to runs: hand in, accept, withdraw, in every order."""

from __future__ import annotations

import errno
import random
from collections.abc import Iterator
from itertools import pairwise, permutations
from pathlib import Path
from typing import Any, Literal

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from pytest_django.fixtures import Settings

from catalog.actions import save_adapter
from catalog.models import Adapter, Unit
from measurements import actions, processing
from measurements.actions import Refused, RunFacts, accept_run, receive_run, withdraw_run
from measurements.intake.rawstore import RawStore, TooLarge
from measurements.models import Ledger, RawFile, Run, RunEvent, Value
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

Deed = tuple[Literal["accept", "withdraw"], int]


def standing_power(adapter: Adapter) -> float | None:
    """The standby power that readers see today."""
    return (
        Value.objects.current()
        .filter(adapter=adapter, metric="no-load-power")
        .values_list("value", flat=True)
        .first()
    )


# Handing in.


def test_the_same_file_for_the_same_condition_gives_the_run_that_is_there() -> None:
    adapter = make_adapter()
    facts = RunFacts(adapter=adapter, kind="no-load", mains_v=230.0)
    first = receive_run(facts, chunks=[b"input_power_w\n0.1\n"], file_name="a.csv", by=None)
    # The voltage was read again as 231 V: the same line, the same condition.
    again = RunFacts(adapter=adapter, kind="no-load", mains_v=231.0)
    second = receive_run(again, chunks=[b"input_power_w\n", b"0.1\n"], file_name="b.csv", by=None)
    assert (first.created, second.created) == (True, False)
    assert first.run == second.run
    assert RawFile.objects.count() == 1


@pytest.mark.parametrize(
    "other",
    [
        {"mains_v": 115.0},
        {"unit": "2"},
        {"ambient_c": 23.0},
        {"mains_hz": 50.0},
        {"method_fields": {"lead_resistance_ohm": 0.01}},
    ],
)
def test_the_same_file_under_another_condition_is_another_run(other: dict[str, Any]) -> None:
    adapter = make_adapter()
    said: dict[str, Any] = {"adapter": adapter, "kind": "no-load", "mains_v": 230.0}
    chunks = [b"input_power_w\n0.1\n"]
    first = receive_run(RunFacts(**said), chunks=chunks, file_name="a.csv", by=None)
    second = receive_run(RunFacts(**{**said, **other}), chunks=chunks, file_name="a.csv", by=None)
    assert second.created
    assert first.run != second.run
    assert RawFile.objects.count() == 1


def test_the_same_file_with_another_instrument_is_another_run() -> None:
    adapter = make_adapter()
    first = receive(adapter)
    assert receive(adapter, instruments=(make_meter(),)) != first


def test_a_withdrawn_run_does_not_keep_its_file_out(editor: Any) -> None:
    adapter = make_adapter()
    run = withdraw_run(accepted(adapter, by=editor), by=editor, reason="wrong serial")
    assert receive(adapter) != run


def test_two_uploads_of_one_file_at_the_same_moment_make_one_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    adapter = make_adapter()
    first = receive(adapter)
    real = actions._standing_run
    answers = iter([None])  # the other upload was not committed yet when this one looked

    def blind_once(identity: str) -> Run | None:
        return next(answers, real(identity))

    monkeypatch.setattr(actions, "_standing_run", blind_once)
    assert receive(adapter) == first
    assert Run.objects.count() == 1


def test_an_integrity_error_of_another_kind_is_not_swallowed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_: object, **__: object) -> Unit:
        raise IntegrityError("a constraint of something else")

    monkeypatch.setattr(actions, "get_unit", broken)
    with pytest.raises(IntegrityError):
        receive(make_adapter())


def test_a_file_over_the_limit_leaves_nothing_behind(
    settings: Settings, own_raw_store: Path
) -> None:
    settings.MAX_UPLOAD_BYTES = 1000
    with pytest.raises(TooLarge):
        receive(make_adapter(), b"x" * 1001)
    assert not Run.objects.exists()
    assert not RawFile.objects.exists()
    assert [path for path in own_raw_store.rglob("*") if path.is_file()] == []


def test_a_full_disk_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(RawStore, "_write", full)
    with pytest.raises(OSError, match="No space left"):
        receive(make_adapter())
    assert not Run.objects.exists()


def test_every_step_of_a_run_is_written_down_with_who_and_why(reviewer: Any, editor: Any) -> None:
    run = accept_run(ready(make_adapter(), by=reviewer), by=editor)
    withdraw_run(run, by=editor, reason="the meter was out of calibration")
    events = RunEvent.objects.filter(run=run).order_by("pk").values_list("what", "by", "detail")
    assert list(events) == [
        ("received", reviewer.pk, "log.csv"),
        ("computed", None, ""),
        ("accepted", editor.pk, ""),
        ("withdrawn", editor.pk, "the meter was out of calibration"),
    ]


# Accepting and withdrawing.


def test_accepting_puts_the_values_in_the_ranking_and_turns_the_ledger(editor: Any) -> None:
    adapter = make_adapter()
    run = ready(adapter, no_load_log(0.05))
    before = Ledger.read()
    assert standing_power(adapter) is None
    accept_run(run, by=editor)
    assert standing_power(adapter) == pytest.approx(0.05, rel=1e-3)
    assert Ledger.read() != before


def test_a_later_run_supersedes_the_earlier_one(editor: Any) -> None:
    adapter = make_adapter()
    first = accepted(adapter, no_load_log(0.05), by=editor)
    second = accepted(adapter, no_load_log(0.06), by=editor)
    first.refresh_from_db()
    assert (first.standing, first.superseded_by) == (Run.Standing.SUPERSEDED, second)
    assert standing_power(adapter) == pytest.approx(0.06, rel=1e-3)


def test_the_other_mains_voltage_does_not_supersede(editor: Any) -> None:
    adapter = make_adapter()
    first = accepted(adapter, no_load_log(0.05), by=editor)
    accepted(adapter, no_load_log(0.04), mains_v=115.0, by=editor)
    first.refresh_from_db()
    assert first.standing == Run.Standing.ACCEPTED


def test_a_run_stays_accepted_while_one_of_its_values_stands(editor: Any) -> None:
    adapter = make_adapter()
    both = accepted(adapter, efficiency_log(9.0, 20.0), kind="efficiency", by=editor)
    accepted(adapter, efficiency_log(20.0), kind="efficiency", by=editor)
    both.refresh_from_db()
    assert both.standing == Run.Standing.ACCEPTED
    stand = Value.objects.current().filter(adapter=adapter, metric="average-efficiency")
    newer = Run.objects.exclude(pk=both.pk).get()
    assert dict(stand.values_list("output_v", "run")) == {9.0: both.pk, 20.0: newer.pk}


def test_withdrawing_a_partial_successor_reinstates_only_what_it_displaced(editor: Any) -> None:
    adapter = make_adapter()
    both = accepted(adapter, efficiency_log(9.0, 20.0), kind="efficiency", by=editor)
    later = accepted(adapter, efficiency_log(20.0), kind="efficiency", by=editor)
    withdraw_run(later, by=editor, reason="wrong lead")
    stand = Value.objects.current().filter(adapter=adapter, metric="average-efficiency")
    assert dict(stand.values_list("output_v", "run")) == {9.0: both.pk, 20.0: both.pk}


@pytest.mark.parametrize("state", ["received", "rejected"])
def test_only_a_ready_run_can_be_accepted(state: str, editor: Any) -> None:
    run = receive(make_adapter(), b"input_power_w\n-1\n")
    if state == "rejected":
        processing.compute(run.pk)
    with pytest.raises(Refused, match=state):
        accept_run(run, by=editor)


def test_a_run_is_accepted_once(editor: Any) -> None:
    run = accepted(make_adapter(), by=editor)
    with pytest.raises(Refused, match="accepted already"):
        accept_run(run, by=editor)


@pytest.mark.parametrize("reason", ["", "   "])
def test_withdrawing_needs_a_reason(reason: str, editor: Any) -> None:
    run = accepted(make_adapter(), by=editor)
    with pytest.raises(Refused) as refused:
        withdraw_run(run, by=editor, reason=reason)
    assert refused.value.field == "reason"


def test_a_run_is_withdrawn_once(editor: Any) -> None:
    run = withdraw_run(accepted(make_adapter(), by=editor), by=editor, reason="wrong lead")
    with pytest.raises(Refused, match="withdrawn already"):
        withdraw_run(run, by=editor, reason="wrong lead")


def test_neither_a_reviewer_nor_nobody_judges(reviewer: Any) -> None:
    run = ready(make_adapter(), by=reviewer)
    for person in (reviewer, None):
        with pytest.raises(PermissionError):
            accept_run(run, by=person)
        with pytest.raises(PermissionError):
            withdraw_run(run, by=person, reason="no")


def test_a_reviewer_judges_own_runs_where_the_site_allows_it(
    reviewer: Any, editor: Any, settings: Settings
) -> None:
    settings.REVIEWERS_ACCEPT_OWN_RUNS = True
    adapter = make_adapter()
    own = ready(adapter, no_load_log(0.05), by=reviewer)
    of_another = ready(adapter, no_load_log(0.06), by=editor)
    assert accept_run(own, by=reviewer).standing == Run.Standing.ACCEPTED
    with pytest.raises(PermissionError):
        accept_run(of_another, by=reviewer)


class Bench:
    """What should be true after some deeds, in plain Python: no database, no cleverness."""

    def __init__(self) -> None:
        self.accepted: list[int] = []  # in the order of acceptance
        self.withdrawn: set[int] = set()

    def do(self, deed: Deed) -> bool:
        """Whether the deed is possible; if so, do it."""
        what, run = deed
        if run in self.withdrawn or (what == "accept" and run in self.accepted):
            return False
        if what == "accept":
            self.accepted.append(run)
        else:
            self.withdrawn.add(run)
        return True

    @property
    def stands(self) -> int | None:
        """The run whose values readers see."""
        left = [run for run in self.accepted if run not in self.withdrawn]
        return left[-1] if left else None

    def standing(self, run: int) -> str:
        """What the bench holds of a run."""
        if run in self.withdrawn:
            return "withdrawn"
        if run not in self.accepted:
            return "provisional"
        return "accepted" if run == self.stands else "superseded"


def every_order(count: int, *, sample: int | None = None) -> Iterator[tuple[Deed, ...]]:
    """Every order (or a seeded sample) of accepting and withdrawing each of `count` runs."""
    deeds: list[Deed] = [("accept", run) for run in range(count)]
    deeds += [("withdraw", run) for run in range(count)]
    orders = list(permutations(deeds))
    if sample is not None:
        orders = random.Random(20261124).sample(orders, sample)
    yield from orders


def judge(run: Run, what: str, *, by: Any) -> None:
    if what == "accept":
        accept_run(run, by=by)
    else:
        withdraw_run(run, by=by, reason="for a test")


def check_order(runs: list[Run], order: tuple[Deed, ...], *, by: Any) -> None:
    bench = Bench()
    for step in order:
        what, number = step
        if bench.do(step):
            judge(runs[number], what, by=by)
        else:
            with pytest.raises(Refused):
                judge(runs[number], what, by=by)
        found = dict(Run.objects.values_list("pk", "standing"))
        assert [found[run.pk] for run in runs] == [
            bench.standing(number) for number in range(len(runs))
        ], order
        current = Value.objects.current().filter(metric="no-load-power")
        expected = [] if bench.stands is None else [runs[bench.stands].pk]
        assert list(current.values_list("run", flat=True)) == expected, order
    spans = list(
        Value.objects.filter(metric="no-load-power", current_from__isnull=False)
        .order_by("current_from", "pk")
        .values_list("current_from", "current_until")
    )
    for (_, until), (begins, _) in pairwise(spans):
        assert until is not None
        assert begins is not None
        assert until <= begins, order  # at no moment did two stand


@pytest.mark.parametrize(("count", "sample"), [(1, None), (2, None), (3, 60)])
def test_accepting_and_withdrawing_in_any_order_leaves_the_newest_sound_run_standing(
    count: int, sample: int | None, editor: Any
) -> None:
    adapter = make_adapter()
    runs = [ready(adapter, no_load_log(0.05 + number / 100)) for number in range(count)]
    for order in every_order(count, sample=sample):
        with transaction.atomic():
            check_order(runs, order, by=editor)
            transaction.set_rollback(True)


def test_an_accepted_run_is_shown_as_of_a_moment_before_its_withdrawal(editor: Any) -> None:
    adapter = make_adapter()
    run = accepted(adapter, by=editor)
    moment = run.accepted_at
    withdraw_run(run, by=editor, reason="wrong lead")
    then = Value.objects.as_of(moment).filter(adapter=adapter, metric="no-load-power")
    assert then.count() == 1
    assert standing_power(adapter) is None


# What follows from the catalogue.


def test_physical_values_follow_the_catalogue_and_keep_their_history() -> None:
    adapter = make_adapter(length_mm=50, width_mm=50, height_mm=26, mass_g=130)
    values = Value.objects.filter(adapter=adapter, metric="power-density")
    assert values.get().value == pytest.approx(65 / (5 * 5 * 2.6))
    adapter.height_mm = 30
    save_adapter(adapter)
    assert values.count() == 2
    assert values.current().get().value == pytest.approx(65 / (5 * 5 * 3.0))


def test_saving_an_adapter_without_a_change_keeps_its_physical_values() -> None:
    adapter = make_adapter(length_mm=50, width_mm=50, height_mm=26, mass_g=130)
    before = list(adapter.values.values_list("pk", "current_until"))
    save_adapter(adapter)
    assert list(adapter.values.values_list("pk", "current_until")) == before


def test_a_size_that_is_taken_back_closes_the_value_that_followed_from_it() -> None:
    adapter = make_adapter(length_mm=50, width_mm=50, height_mm=26)
    adapter.length_mm = adapter.width_mm = adapter.height_mm = None
    save_adapter(adapter)
    assert not adapter.values.current().filter(metric="power-density").exists()


class TestSetApart:
    """A value that is not comparable never takes the place of one that is."""

    DRIFTING = "time_s,input_power_w\n" + "".join(
        f"{second},{0.08 + second * 1e-5}\n" for second in range(1200)
    )

    def standing(self, adapter: Adapter) -> list[tuple[float, bool]]:
        values = Value.objects.current().filter(adapter=adapter, metric="no-load-power")
        return sorted((round(row.value, 3), bool(row.apart)) for row in values)

    def drifting(self, adapter: Adapter, *, by: User, line: str = "") -> Run:
        return accepted(adapter, (self.DRIFTING + line).encode(), by=by)

    def test_a_later_one_stands_beside_the_comparable_one(self, editor: User) -> None:
        adapter = make_adapter()
        good = accepted(adapter, no_load_log(0.05), by=editor)
        self.drifting(adapter, by=editor)
        good.refresh_from_db()
        assert good.standing == "accepted"
        (first, first_apart), (second, second_apart) = self.standing(adapter)
        assert (first, first_apart) == (0.05, False)
        assert second_apart
        assert second > 0.08

    def test_a_comparable_one_replaces_it(self, editor: User) -> None:
        adapter = make_adapter()
        bad = self.drifting(adapter, by=editor)
        accepted(adapter, no_load_log(0.05), by=editor)
        bad.refresh_from_db()
        assert bad.standing == "superseded"
        assert self.standing(adapter) == [(0.05, False)]

    def test_a_later_one_replaces_an_earlier_one(self, editor: User) -> None:
        adapter = make_adapter()
        first = self.drifting(adapter, by=editor)
        self.drifting(adapter, by=editor, line="1200,0.092\n")
        first.refresh_from_db()
        assert first.standing == "superseded"
        assert [apart for _, apart in self.standing(adapter)] == [True]

    def test_withdrawing_the_comparable_one_brings_back_the_one_before(self, editor: User) -> None:
        adapter = make_adapter()
        accepted(adapter, no_load_log(0.04), by=editor)
        newer = accepted(adapter, no_load_log(0.05), by=editor)
        self.drifting(adapter, by=editor)
        withdraw_run(newer, by=editor, reason="wrong unit on the bench")
        assert [value for value, apart in self.standing(adapter) if not apart] == [0.04]
        assert [apart for _, apart in self.standing(adapter)].count(True) == 1

    def test_withdrawing_it_leaves_the_comparable_one_alone(self, editor: User) -> None:
        adapter = make_adapter()
        good = accepted(adapter, no_load_log(0.05), by=editor)
        before = Value.objects.current().get(run=good, metric="no-load-power").pk
        bad = self.drifting(adapter, by=editor)
        withdraw_run(bad, by=editor, reason="the room was too warm")
        assert self.standing(adapter) == [(0.05, False)]
        assert Value.objects.current().get(run=good, metric="no-load-power").pk == before
