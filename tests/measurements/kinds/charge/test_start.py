"""The start level of a charge in the uncertainty of its times, by closed forms.

A bound without a distribution is rectangular: JCGM 100:2008, 4.3.7. That the start level is such
a bound is the project's own rule.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Measured
from measurements.kinds.charge.level import level_of
from measurements.kinds.charge.record import record_of
from measurements.kinds.charge.start import Pace, pace_of, start_bound
from tests.measurements.kinds.charge.records import HOUR, log, measured, setup, values_of

TIMES = ("charge-to-20", "charge-to-50", "charge-to-80", "charge-to-full")


def rising_from(start: float, *, shift: float = 0.0) -> dict[str, Measured]:
    """A level that rises by a straight line from `start` to 100 % within an hour."""
    level = start + (100 - start) * HOUR / 3600 + shift
    # No step fits it, so that its resolution adds nothing.
    return values_of(measured(log(battery_percent=level + 0.0012345), setup(accuracies=())))


@pytest.mark.parametrize("start", [0.0, 1.0, 2.0, 4.9])
def test_a_start_counts_with_half_a_step_at_the_pace_of_the_beginning(start: float) -> None:
    values = rising_from(start)
    s_per_percent = 3600 / (100 - start)
    # The reading before and after the start and the crossing: half a second each.
    spacing_s = math.hypot(0.5, 0.5)
    for metric in TIMES:
        expected = math.hypot((start + 0.5) * s_per_percent, spacing_s) / math.sqrt(3)
        assert values[metric].standard_uncertainty * 60 == pytest.approx(expected, rel=0.005)
        assert not values[metric].apart


def test_the_example_of_the_method_page() -> None:
    """60 Wh at 94 W: 0.38 min for a percent, so that starts of 0, 1, 2 % are 0.38 min apart."""
    full_s = 60 / 94 * 3600
    found = []
    for start in (0.0, 1.0, 2.0):
        time = np.arange(0.0, full_s * (1 - start / 100) + 30)
        level = np.minimum(100, start + 100 * time / full_s)
        found.append(
            values_of(measured(log(time_s=time, current_a=94 / 20, battery_percent=level)))
        )
    minute = 60 / 94 * 60 / 100
    assert minute == pytest.approx(0.38, abs=0.005)
    for metric in TIMES:
        times = [values[metric].value for values in found]
        assert np.diff(times) == pytest.approx(-minute, abs=0.001)
        bounds = [values[metric].standard_uncertainty * math.sqrt(3) for values in found]
        assert bounds == pytest.approx([0.5 * minute, 1.5 * minute, 2.5 * minute], rel=0.01)
        # A start that is 1 or 2 % higher lies within U (k = 2) of the pair.
        for one, other in ((0, 1), (1, 2), (0, 2)):
            apart = abs(times[one] - times[other])
            assert apart < 2 * math.hypot(bounds[one], bounds[other]) / math.sqrt(3)


def test_a_fast_beginning_counts_by_its_own_pace() -> None:
    # 1 % takes 20 s up to half, then 52 s.
    level = np.where(HOUR < 1000, HOUR / 20, 50 + (HOUR - 1000) / 52)
    outcome = measured(log(battery_percent=level, current_a=np.where(HOUR < 1000, 3.0, 1.0)))
    values = values_of(outcome)
    assert values["charge-to-full"].standard_uncertainty * 60 < 0.5 * 40 / math.sqrt(3)
    assert outcome.details.facts["pace"] == {
        "s_per_percent": pytest.approx(20),
        "power_w": pytest.approx(60),
    }


def test_coarse_steps_hide_more_of_the_start() -> None:
    level = np.floor(HOUR / 36 / 5) * 5
    record = record_of(log(battery_percent=level))
    assert start_bound(level_of(record), start=0.0) == 2.5


class TestPace:
    record = record_of(log())

    def pace(self, start: float, *reached: tuple[float, float]) -> Pace | None:
        return pace_of(self.record, start=start, reached=reached)

    def test_it_is_that_up_to_the_first_level_far_enough_off(self) -> None:
        assert self.pace(2.0, (20.0, 540.0), (50.0, 600.0)) == Pace(30.0, 30.0)
        assert self.pace(15.0, (20.0, 10.0), (50.0, 700.0)) == Pace(20.0, 30.0)

    def test_the_last_one_stands_in_where_none_is_far_enough(self) -> None:
        assert self.pace(95.0, (100.0, 500.0)) == Pace(100.0, 30.0)

    def test_none_without_a_level_that_took_time(self) -> None:
        assert self.pace(2.0) is None
        assert self.pace(2.0, (20.0, 0.0)) is None

    def test_a_stretch_that_a_gap_hides_has_no_power(self) -> None:
        time = np.concatenate(([0.0], np.arange(600.0, 1000.0)))
        record = record_of(log(time_s=time))
        assert pace_of(record, start=0.0, reached=[(20.0, 600.0)]) == Pace(30.0, None)


def test_a_run_without_milestones_has_no_pace() -> None:
    assert measured(log()).details.facts["pace"] is None


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 5), st.floats(0.5, 5), st.floats(1.2, 4))
def test_an_inferred_level_is_never_more_certain_than_one_that_was_told(
    start: int, amperes: float, stretch: float
) -> None:
    time = HOUR[::5] * stretch
    full = time[-1] * 0.9
    current = np.where(time < full, amperes, 0.0)
    shown = np.floor(np.minimum(100, start + (100 - start) * time / full))
    given_setup = setup(device="invented-slate", accuracies=())
    told = values_of(
        measured(log(time_s=time, current_a=current, battery_percent=shown), given_setup)
    )
    inferred = values_of(measured(log(time_s=time, current_a=current), given_setup))
    for metric in TIMES:
        # From 5 %, the steps in which a level is told add half a percent to it.
        least = told[metric].standard_uncertainty * (1.0 if start < 5 else 0.98)
        assert inferred[metric].standard_uncertainty >= least


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 5), st.floats(0, 5))
def test_the_higher_start_is_the_less_certain(one: float, other: float) -> None:
    low, high = sorted((one, other))
    lower, higher = rising_from(low), rising_from(high)
    for metric in TIMES:
        assert higher[metric].standard_uncertainty >= lower[metric].standard_uncertainty * (
            1 - 1e-3
        )
