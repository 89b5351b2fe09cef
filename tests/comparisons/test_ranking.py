"""The arithmetic of places."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from comparisons.ranking import clear_best, differs, near_ties, places, spread

Direction = Literal["lower", "higher"]
DIRECTIONS: tuple[Direction, ...] = ("lower", "higher")

# Few different numbers, so that ties are common.
numbers = st.integers(-20, 20).map(lambda number: number / 4)
cohorts = st.lists(numbers, min_size=1, max_size=30)
directions = st.sampled_from(DIRECTIONS)


@given(cohorts, directions, st.randoms(use_true_random=False))
def test_places_do_not_depend_on_the_order_of_the_values(
    values: list[float], better: Direction, random: object
) -> None:
    shuffle = list(range(len(values)))
    random.shuffle(shuffle)  # type: ignore[attr-defined]
    straight = places(np.array(values), better=better)
    shuffled = places(np.array([values[index] for index in shuffle]), better=better)
    assert shuffled.rank.tolist() == straight.rank[shuffle].tolist()
    assert shuffled.percentile.tolist() == straight.percentile[shuffle].tolist()


@given(cohorts, directions)
def test_a_better_value_never_has_a_worse_place(values: list[float], better: Direction) -> None:
    found = places(np.array(values), better=better)
    sign = 1 if better == "lower" else -1
    for one, value in enumerate(values):
        for other, rival in enumerate(values):
            if sign * value < sign * rival:
                assert found.rank[one] < found.rank[other]
                assert found.percentile[one] > found.percentile[other]
            if value == rival:
                assert found.rank[one] == found.rank[other]
                assert found.percentile[one] == found.percentile[other]


@given(cohorts, numbers, directions)
def test_one_more_adapter_moves_the_others_by_one_rank_at_most(
    values: list[float], added: float, better: Direction
) -> None:
    before = places(np.array(values), better=better).rank
    after = places(np.array([*values, added]), better=better).rank[:-1]
    assert set((after - before).tolist()) <= {0, 1}


@given(cohorts, directions)
def test_ranks_count_those_that_are_better(values: list[float], better: Direction) -> None:
    found = places(np.array(values), better=better)
    for position, value in enumerate(values):
        ahead = sum(other < value if better == "lower" else other > value for other in values)
        assert found.rank[position] == ahead + 1


@given(cohorts, directions)
def test_the_order_lists_everyone_once_from_best_to_worst(
    values: list[float], better: Direction
) -> None:
    order = places(np.array(values), better=better).order.tolist()
    assert order == sorted(
        range(len(values)), key=lambda index: values[index] if better == "lower" else -values[index]
    )


def test_percentiles_of_a_cohort_average_to_a_half() -> None:
    found = places(np.array([1.0, 2.0, 2.0, 7.0]), better="lower")
    assert found.rank.tolist() == [1, 2, 2, 4]
    assert found.percentile.tolist() == [87.5, 50.0, 50.0, 12.5]


def test_a_metric_without_direction_has_no_ranks() -> None:
    with pytest.raises(ValueError, match="direction"):
        places(np.array([1.0]), better="")


def test_a_value_that_is_not_a_number_has_no_place() -> None:
    with pytest.raises(ValueError, match="not a number"):
        places(np.array([1.0, np.nan]), better="lower")


def test_an_empty_cohort_has_no_quartiles() -> None:
    assert spread(np.array([])).quartiles is None
    assert spread(np.array([])).median is None
    assert len(places(np.array([]), better="lower").rank) == 0


def test_one_value_is_its_own_median() -> None:
    assert spread(np.array([4.0])).quartiles == (4.0, 4.0, 4.0)


@given(
    st.lists(st.tuples(numbers, st.integers(0, 8).map(lambda u: u / 8)), min_size=2, max_size=20)
)
def test_near_ties_are_mutual_and_never_hold_oneself(pairs: list[tuple[float, float]]) -> None:
    values = np.array([value for value, _ in pairs])
    spreads = np.array([uncertainty for _, uncertainty in pairs])
    ties = [set(near_ties(values, spreads, position=index).tolist()) for index in range(len(pairs))]
    for index, found in enumerate(ties):
        assert index not in found
        assert all(index in ties[other] for other in found)


def test_a_difference_equal_to_the_combined_uncertainty_is_still_a_near_tie() -> None:
    # u = 3 and 4 combine to 5; U = 10.
    assert not differs(0.0, 3.0, other=10.0, other_uncertainty=4.0)
    assert differs(0.0, 3.0, other=10.1, other_uncertainty=4.0)


def test_best_is_named_only_when_it_stands_clear_of_every_other() -> None:
    values = np.array([1.0, 2.0, 3.0])
    assert clear_best(values, np.array([0.1, 0.1, 0.1]), better="lower") == 0
    assert clear_best(values, np.array([0.1, 0.1, 0.1]), better="higher") == 2
    assert clear_best(values, np.array([0.5, 0.5, 0.1]), better="lower") is None
    assert clear_best(values, np.array([0.1, 0.1, 0.1]), better="") is None
    assert clear_best(np.array([1.0]), np.array([0.1]), better="lower") is None
