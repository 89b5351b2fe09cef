"""What the start levels of two charges do to their differences, and what is said of it."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from catalog.models import Device
from comparisons.queries.charge_overlays import Axis, Overlay, overlay
from comparisons.queries.charge_starts import Start, start_effects, start_of
from comparisons.templatetags.overlays import place_of_largest, stretch
from measurements.metrics.simultaneous import simultaneous_factor
from measurements.models import Run
from measurements.templatetags.figures import MISSING
from tests.comparisons.charging import adapter, charged, laptop, log

__all__ = ["charged", "laptop"]


def laid(laptop: Device, *runs: Run, by: Axis = "time") -> Overlay:
    ids = [run.pk for run in runs]
    return overlay(laptop, ids, reference=ids[0], by=by, viewer=None)


class TestEffects:
    """Closed forms; a bound without a distribution is rectangular (JCGM 100:2008, 4.3.7)."""

    def test_energy_goes_by_the_percents_that_were_charged(self) -> None:
        # 58.8 Wh from 2 to 100 % is 0.6 Wh for a percent; 1 % apart and two half steps are 2 %.
        start, other = Start(2, 100, 23, 94), Start(1, 100, 23, 94)
        values = {"charge-energy": 58.8, "charge-mean-power": 94.0}
        effects = start_effects((start, other), (values, values))
        assert effects["charge-energy"] == pytest.approx(2 * 0.6 / math.sqrt(3))
        # A charge at one power has that mean wherever it starts.
        assert effects["charge-mean-power"] == 0

    def test_mean_power_goes_by_what_the_beginning_has_above_it(self) -> None:
        # 60 W for half an hour, then 20 W for as long: 40 Wh in an hour, mean 40 W. Two percents
        # of 30 s each at 60 W would add (60 − 40) W · 60 s / 3600 s.
        start = Start(1, 100, 30, 60)
        values = {"charge-energy": 40.0, "charge-mean-power": 40.0}
        effects = start_effects((start, Start(2, 100, 30, 60)), (values, values))
        assert effects["charge-mean-power"] == pytest.approx(20 * 60 / 3600 / math.sqrt(3))

    def test_equal_starts_leave_the_two_half_steps(self) -> None:
        start = Start(0, 100, 30, 60)
        values = {"charge-energy": 40.0, "charge-mean-power": 40.0}
        effects = start_effects((start, start), (values, values))
        assert effects["charge-energy"] == pytest.approx(0.4 / math.sqrt(3))

    def test_the_larger_of_the_two_counts(self) -> None:
        fast, slow = Start(0, 100, 20, 60), Start(0, 100, 40, 30)
        one = {"charge-energy": 40.0, "charge-mean-power": 40.0}
        other = {"charge-energy": 44.0, "charge-mean-power": 28.0}
        both = start_effects((fast, slow), (one, other))
        assert both == start_effects((slow, fast), (other, one))
        assert both["charge-energy"] == pytest.approx(0.44 / math.sqrt(3))
        assert both["charge-mean-power"] == pytest.approx(20 * 20 / 3600 / math.sqrt(3))

    @given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 5))
    def test_a_start_farther_off_never_says_less(self, one: float, near: float, far: float) -> None:
        near, far = sorted((near, far), key=lambda level: abs(level - one))
        values = {"charge-energy": 40.0, "charge-mean-power": 40.0}

        def effect(other: float) -> float:
            # To one end, so that the percents that were charged are the same.
            starts = Start(one, 100 + one, 30, 60), Start(other, 100 + other, 30, 60)
            return start_effects(starts, (values, values))["charge-energy"]

        assert effect(near) <= effect(far) * (1 + 1e-9)

    def test_hostile_facts_give_no_start_and_no_error(self) -> None:
        assert start_of({}) is None
        assert start_of({"pace": None, "start_level": 1.0, "end_level": 100.0}) is None
        pace = {"s_per_percent": 30.0, "power_w": None}
        assert start_of({"pace": pace, "start_level": None, "end_level": None}) is None
        start = start_of({"pace": pace, "start_level": 1.0, "end_level": 1.0})
        assert start is not None
        effects = start_effects((start, start), ({}, {"charge-energy": -1.0}))
        assert effects["charge-energy"] == pytest.approx(1 / math.sqrt(3))
        assert effects["charge-mean-power"] == 0


@pytest.mark.django_db
@pytest.mark.parametrize("late", [1.0, 2.0])
def test_equal_adapters_from_other_starts_do_not_differ(
    laptop: Device, charged: Callable[..., Run], late: float
) -> None:
    runs = charged(adapter("One"), log(2.0, start=1)), charged(adapter("Two"), log(2.0, start=late))
    found = laid(laptop, *runs)
    other = found.curves[1]
    assert len(other.judged) == 7
    assert other.differing == ()
    # 40 Wh from 0 to 100 %: 0.4 Wh for each percent; a row is 0.11 Wh. Without instruments all
    # of U is the start.
    energy = next(item for item in other.judged if item.metric.key == "charge-energy")
    assert energy.difference == pytest.approx(-0.4 * (late - 1), abs=0.12)
    assert energy.expanded == pytest.approx(
        simultaneous_factor(math.inf, comparisons=7) * 0.4 * late / math.sqrt(3), rel=0.02
    )


@pytest.mark.django_db
def test_a_start_that_differs_is_said(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    one, two = adapter("One"), adapter("Two")
    runs = charged(one, log(2.0, start=2)), charged(two, log(2.0, start=1))
    note = "Invented Two and the reference started at 1 % and 2 %; this is part of U."
    assert laid(laptop, *runs).notes == (note,)
    address = f"/charges/laptop/?adapter={one.slug}&adapter={two.slug}&reference={one.slug}"
    assert note in client.get(address).content.decode()
    alike = charged(adapter("Three"), log(2.0, start=2))
    assert laid(laptop, runs[0], alike).notes == ()
    # What is not compared has no U to be part of.
    far = charged(adapter("Four"), log(2.0, start=30))
    assert laid(laptop, runs[0], far).notes == ()


@pytest.mark.django_db
class TestVerdicts:
    def test_by_level_uncompared_times_are_told_with_the_power(
        self, laptop: Device, charged: Callable[..., Run]
    ) -> None:
        runs = charged(adapter("One"), log(2.0)), charged(adapter("Late"), log(2.5, start=30))
        assert laid(laptop, *runs).curves[1].verdict == (
            "Times and energies are not compared because they started at 30 % and 2 %."
        )
        by_level = laid(laptop, *runs, by="level").curves[1].verdict
        assert by_level.startswith(
            "Times and energies are not compared because they started at 30 % and 2 %; by battery "
            "level its power lies "
        )
        assert by_level.endswith(" W above the reference’s on average (no verdict).")
        assert " 10.0" in by_level or " 9.9" in by_level

    def test_by_level_the_finding_on_times_says_so(
        self, laptop: Device, charged: Callable[..., Run]
    ) -> None:
        runs = [charged(adapter(name), log(amperes)) for name, amperes in RIVALS]
        _, same, slow = laid(laptop, *runs, by="level").curves
        assert same.verdict == (
            "By time: it does not differ from the reference by more than repeating it would. By "
            "battery level its power is the reference’s on average (no verdict)."
        )
        assert slow.verdict.startswith("By time: it differs from the reference in time to 20 %")
        # 20 V · (2 A − 3 A), less at 99 %, which ends within a row.
        assert slow.verdict.count("By battery level its power lies 19.98 W below") == 1
        assert slow.verdict.endswith(" the reference’s on average (no verdict).")
        title = laid(laptop, *runs, by="level").title
        assert title == "Invented Slow charges it measurably differently, judged by time"
        by_time = laid(laptop, *runs).curves[2].verdict
        assert by_time.startswith("It differs from the reference in time to 20 %")
        assert "level" not in by_time

    def test_by_level_without_a_level_both_reasons_stand(
        self, laptop: Device, charged: Callable[..., Run]
    ) -> None:
        without = b"\n".join(row.rsplit(b",", 1)[0] for row in log(2.0).splitlines())
        runs = charged(adapter("One"), log(2.0)), charged(adapter("Bare"), without)
        assert laid(laptop, *runs, by="level").curves[1].verdict == (
            "Times and energies are not compared because the battery level of Invented Bare was "
            "not recorded at the start; by battery level it is not compared because the battery "
            "level of Invented Bare is inferred."
        )


RIVALS = (("One", 3.0), ("Same", 3.0), ("Slow", 2.0))


def paused(content: bytes) -> bytes:
    """The log without ten minutes from its hundredth row on."""
    rows = content.splitlines()
    return b"\n".join([*rows[:100], *rows[160:], b""])


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("first", "second", "who"),
    [
        (False, True, "Invented Two"),
        (True, False, "the reference"),
        (True, True, "Invented Two and the reference"),
    ],
)
def test_the_log_that_paused_is_named(
    laptop: Device, charged: Callable[..., Run], first: bool, second: bool, who: str
) -> None:
    contents = [paused(log(2.0)) if one else log(2.0) for one in (first, second)]
    runs = charged(adapter("One"), contents[0]), charged(adapter("Two"), contents[1])
    assert laid(laptop, *runs).warnings[0] == (
        f"Invented Two beside the reference: the log of {who} paused during the charge. Energy "
        "and mean power are not compared."
    )


@pytest.mark.django_db
def test_a_stretch_of_percents_reaches_to_the_end_of_its_last(
    client: Client, laptop: Device, charged: Callable[..., Run]
) -> None:
    one, fast = adapter("One"), adapter("Fast")
    runs = charged(one, log(2.0)), charged(fast, log(3.0))
    by_level = laid(laptop, *runs, by="level").curves
    assert stretch(by_level[1]) == "4 to 100 %"
    against = by_level[1].against
    assert against is not None
    at = int(against.largest_at)
    assert place_of_largest(by_level[1]) == f"{at} to {at + 1} %"
    assert stretch(by_level[0]) == place_of_largest(by_level[0]) == MISSING
    assert stretch(laid(laptop, *runs).curves[1]).endswith(" min")
    page = client.get(f"/charges/laptop/?adapter={one.slug}&adapter={fast.slug}&by=level")
    assert "4 to 100 %" in page.content.decode()


@pytest.mark.django_db
def test_power_that_still_comes_up_in_the_first_whole_percent_is_no_difference(
    laptop: Device, charged: Callable[..., Run]
) -> None:
    def slowly(content: bytes) -> bytes:
        # A percent takes 36 s: from the third on the power is there.
        rows = [row.split(b",") for row in content.splitlines()]
        for row in rows[1:8]:
            row[2] = b"0.5"
        return b"\n".join([*(b",".join(row) for row in rows), b""])

    runs = charged(adapter("One"), log(2.0)), charged(adapter("Slow start"), slowly(log(2.0)))
    found = laid(laptop, *runs, by="level").curves[1]
    assert found.power_w[0] < 35
    assert found.against is not None
    assert found.against.largest == pytest.approx(0, abs=0.01)
