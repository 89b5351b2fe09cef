"""Rank intervals: against probability theory, and what must be true of any of them."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, poisson_binom

from comparisons.queries.rank_intervals import intervals, rank_intervals
from comparisons.queries.rankings import ranking
from comparisons.ranking import FloatArray
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from tests.comparisons.populations import HIGH_LINE, stand, standby_population
from tests.factories.catalog import make_adapter

# Few different numbers, so that ties are common; uncertainties of the size of their steps.
_values = st.integers(-8, 8).map(lambda number: number / 4)
_spreads = st.sampled_from([0.0, 0.05, 0.25, 1.0])
_points = st.lists(st.tuples(_values, _spreads), min_size=1, max_size=12)
_few = settings(max_examples=25, deadline=None)


def of(points: list[tuple[float, float]]) -> list[tuple[int, int]]:
    keys, spreads = (np.array(column) for column in zip(*points, strict=True))
    low, high = intervals(keys, spreads, rows=np.arange(len(points)))
    return list(zip(low.tolist(), high.tolist(), strict=True))


@pytest.mark.parametrize("apart", [0.5, 1.5, 2.0, 3.2, 4.5])
def test_of_two_the_better_may_be_second_where_that_is_likelier_than_one_in_forty(
    apart: float,
) -> None:
    # The difference of two independent normal quantities is normal, its variance the sum of
    # theirs: JCGM 100:2008 (GUM), 5.1.2, and any textbook.
    second = float(norm.sf(apart / np.hypot(1.0, 0.6)))
    assert abs(second - 0.025) > 0.005, "too near to the edge for a finite number of draws"
    assert of([(0.0, 1.0), (apart, 0.6)])[0] == (1, 2 if second > 0.025 else 1)


@pytest.mark.parametrize("clear", [0, 300, 3_000])
def test_an_exact_value_stands_where_the_poisson_binomial_distribution_says(clear: int) -> None:
    # How many of several uncertain values lie below an exact one is a sum of independent yes or
    # no: the Poisson binomial distribution, as the reference library SciPy has it. Those that are
    # clear of it make the cohort larger, and the draws of the others fewer.
    dice = np.random.default_rng(clear)
    others = np.column_stack([dice.normal(0.0, 1.0, 40), dice.uniform(0.05, 0.6, 40)])
    ahead = [(-20.0 - number, 0.5) for number in range(clear)]
    low, high = of([(0.1, 0.0), *map(tuple, others.tolist()), *ahead])[0]
    below = np.asarray(norm.cdf((0.1 - others[:, 0]) / others[:, 1])).tolist()
    expected = np.asarray(poisson_binom.ppf([0.025, 0.975], below)) + 1 + clear
    assert abs(low - expected[0]) <= 1
    assert abs(high - expected[1]) <= 1


@pytest.mark.parametrize(("size", "spread"), [(60, 0.3), (1_500, 0.05), (6_000, 0.02)])
def test_intervals_are_those_of_a_monte_carlo_that_draws_everything_anew(
    size: int, spread: float
) -> None:
    # JCGM 101:2008 done the long way, by NumPy's own generator and sorting.
    dice = np.random.default_rng(size)
    keys = np.sort(dice.normal(0.0, 1.0, size))
    spreads = spread * dice.uniform(0.5, 1.5, size)
    rows = np.linspace(0, size - 1, 8).astype(np.int64)
    ranks = np.empty((1_000, len(rows)))
    for draw in range(len(ranks)):
        values = keys + spreads * dice.standard_normal(size)
        ranks[draw] = 1 + np.searchsorted(np.sort(values), values[rows])
    low, high = intervals(keys, spreads, rows=rows)
    expected = np.quantile(ranks, [0.025, 0.975], axis=0)
    # Either quantile of so many draws is itself uncertain, by some 0.1 of the scatter.
    allowed = 1 + 0.45 * ranks.std(axis=0)
    assert (np.abs(low - expected[0]) <= allowed).all()
    assert (np.abs(high - expected[1]) <= allowed).all()


@_few
@given(_points, st.randoms(use_true_random=False))
def test_intervals_do_not_depend_on_the_order(
    points: list[tuple[float, float]], dice: random.Random
) -> None:
    straight = of(points)
    shuffle = list(range(len(points)))
    dice.shuffle(shuffle)
    assert of([points[place] for place in shuffle]) == [straight[place] for place in shuffle]


@_few
@given(_points)
def test_equal_values_of_equal_uncertainty_have_one_interval(
    points: list[tuple[float, float]],
) -> None:
    found: dict[tuple[float, float], set[tuple[int, int]]] = {}
    for point, interval in zip(points, of(points), strict=True):
        found.setdefault(point, set()).add(interval)
    assert all(len(each) == 1 for each in found.values())


@_few
@given(_points, st.tuples(_values, _spreads))
def test_one_adapter_more_moves_no_end_by_more_than_one_rank(
    points: list[tuple[float, float]], added: tuple[float, float]
) -> None:
    before, after = of(points), of([*points, added])[:-1]
    for one, other in zip(before, after, strict=True):
        assert {other[0] - one[0], other[1] - one[1]} <= {0, 1}


@_few
@given(st.lists(_values, min_size=1, max_size=12, unique=True), st.floats(0.0, 0.02))
def test_values_that_lie_clear_of_each_other_stand_at_their_rank(
    values: list[float], spread: float
) -> None:
    expected = [1 + sorted(values).index(value) for value in values]
    assert of([(value, spread) for value in values]) == [(rank, rank) for rank in expected]


@_few
@given(st.lists(_values, min_size=2, max_size=12), st.sampled_from([0.05, 0.25, 1.0]))
def test_of_equally_uncertain_values_a_better_one_has_no_worse_interval(
    values: list[float], spread: float
) -> None:
    found = sorted(zip(values, of([(value, spread) for value in values]), strict=True))
    for (_, one), (_, other) in pairwise(found):
        # The others' draws are finite: one of two that are drawn apart may gain a rank by them.
        assert other[0] >= one[0] - 1
        assert other[1] >= one[1] - 1


@_few
@given(_points)
def test_exact_values_have_the_competition_rank(points: list[tuple[float, float]]) -> None:
    values = [value for value, _ in points]
    ranks = [1 + sum(other < value for other in values) for value in values]
    assert of([(value, 0.0) for value in values]) == [(rank, rank) for rank in ranks]


def test_a_page_of_rows_has_the_intervals_of_the_whole() -> None:
    dice = np.random.default_rng(5)
    keys: FloatArray = np.sort(dice.normal(0.0, 1.0, 900))
    spreads = dice.uniform(0.0, 0.1, 900)
    whole = np.array(intervals(keys, spreads, rows=np.arange(900)))
    for start, stop in ((0, 100), (437, 445), (800, 900)):
        part = np.array(intervals(keys, spreads, rows=np.arange(start, stop)))
        assert (part == whole[:, start:stop]).all()


@pytest.mark.django_db
def test_an_interval_holds_the_rank_and_is_missing_where_no_uncertainty_is_stated() -> None:
    condition = Condition(line="high", output_v=20.0)
    metric = all_metrics()["average-efficiency"]
    for number in range(12):
        stand(
            make_adapter(f"Solo {number}"),
            90.0 + number / 10,
            metric=metric.key,
            condition=condition,
            standard_uncertainty=0.02 if number else 3.0,
        )
    rows = ranking(metric, condition, viewer=None).rows
    assert all(row.interval and row.interval.low <= row.rank <= row.interval.high for row in rows)
    loose = next(row for row in rows if row.adapter.name == "Solo 0")
    assert loose.interval is not None
    assert (loose.interval.low, loose.interval.high) == (1, 12)


@pytest.mark.django_db
def test_intervals_are_counted_once_for_the_same_cohort(monkeypatch: pytest.MonkeyPatch) -> None:
    standby_population({f"Solo {number}": 0.0513 + number / 1000 for number in range(5)})
    cohort = ranking(all_metrics()["no-load-power"], HIGH_LINE, viewer=None).cohort
    first = rank_intervals(cohort, start=0, stop=5)

    def fail(*_: Any, **__: Any) -> None:
        raise AssertionError("counted twice")

    monkeypatch.setattr("comparisons.queries.rank_intervals.intervals", fail)
    assert rank_intervals(cohort, start=0, stop=5) == first
