"""Places in words, against scipy and against a count by hand."""

from __future__ import annotations

import math
import re
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from comparisons.facts.places import NOTE_ON_WORDS, place_sentence
from comparisons.queries.cohorts import Cohort
from comparisons.queries.placements import Placement
from comparisons.ranking import places, spread
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition

METRICS = {"lower": all_metrics()["no-load-power"], "higher": all_metrics()["average-efficiency"]}

# Few different numbers, so that ties are common; None is an uncertainty that was not stated.
values = st.integers(0, 12).map(lambda number: number / 4)
spreads = st.sampled_from([0.0, 0.05, 0.2, 0.8, None])
cohorts = st.lists(st.tuples(values, spreads), min_size=1, max_size=40)
directions: st.SearchStrategy[Literal["lower", "higher"]] = st.sampled_from(["lower", "higher"])


def placement_of(rows: list[tuple[float, float | None]], own: int, better: str) -> Placement:
    """The placement of one row, as the queries make it."""
    metric = METRICS[better]
    sign = 1 if better == "lower" else -1
    order = sorted(range(len(rows)), key=lambda row: (sign * rows[row][0], row))
    numbers = np.array([rows[row][0] for row in order])
    cohort = Cohort(
        metric=metric,
        condition=Condition(line="high"),
        adapter_ids=np.array(order, dtype=np.int64),
        values=numbers,
        uncertainties=np.array([rows[row][1] for row in order], dtype=np.float64),
        value_ids=np.array(order, dtype=np.int64),
        places=places(numbers, better=metric.better),
        spread=spread(numbers),
        by_adapter=np.argsort(order).astype(np.int64),
    )
    position = order.index(own)
    return Placement(
        metric=metric,
        condition=cohort.condition,
        value=rows[own][0],
        standard_uncertainty=rows[own][1],
        method="1.0",
        run_id=None,
        source="run",
        table_id=None,
        apart="",
        cohort=cohort,
        rank=int(cohort.places.rank[position]),
        percentile=float(cohort.places.percentile[position]),
        near_tie_count=len(cohort.near_ties_of(position)),
    )


def told_apart(one: tuple[float, float | None], other: tuple[float, float | None]) -> bool:
    """The contract's near tie, turned: a difference outside k = 2 of the combined uncertainty."""
    if one[1] is None or other[1] is None:
        return False
    return abs(one[0] - other[0]) > 2 * math.hypot(one[1], other[1])


@given(cohorts, directions, st.data())
def test_a_sentence_says_what_scipy_counts_and_no_superlative_without_proof(
    rows: list[tuple[float, float | None]], better: str, data: st.DataObject
) -> None:
    own = data.draw(st.integers(0, len(rows) - 1))
    said = place_sentence(placement_of(rows, own, better))
    if len(rows) == 1:
        assert said == "No other adapter has a comparable result under this condition."
        return
    keys = [value if better == "lower" else -value for value, _ in rows]
    rank = int(stats.rankdata(keys, method="min")[own])
    number = re.match(r"That is (\d+)(?:st|nd|rd|th) of (?:only )?(\d+)", said)
    assert number is not None
    assert (int(number[1]), int(number[2])) == (rank, len(rows))

    others = [row for place, row in enumerate(rows) if place != own]
    alone = rank == 1 and all(told_apart(rows[own], row) for row in others)
    every = all(spread is not None for _, spread in rows)
    superlative = re.search(rf": the {'lowest' if better == 'lower' else 'highest'},", said)
    assert bool(superlative) == (alone and every)


@given(st.lists(values, min_size=2, max_size=40), directions, st.data())
def test_the_word_for_a_part_follows_from_scipys_percentile(
    numbers: list[float], better: str, data: st.DataObject
) -> None:
    own = data.draw(st.integers(0, len(numbers) - 1))
    said = place_sentence(placement_of([(number, 0.05) for number in numbers], own, better))
    beaten = stats.percentileofscore(numbers, numbers[own], kind="mean")
    share = 100 - beaten if better == "lower" else beaten
    # The limits as the page states them; common practice, the words are this project's.
    stated = re.findall(r"“(\w+)” means better than at least (\d+)", NOTE_ON_WORDS)
    word = next((word for word, least in stated if share >= float(least) - 1e-9), "trailing")
    if len(numbers) < 8:
        assert " part" not in said
        assert "of only" in said
    else:
        assert f"in the {word} part" in said


@pytest.mark.parametrize(
    ("rows", "own", "said"),
    [
        ([(1.0, 0.1), (2.0, 0.1), (3.0, 0.1)], 0, ": the lowest, by more than the uncertainty."),
        ([(1.0, 0.1), (1.1, 0.1), (3.0, 0.1)], 0, "it is among the 2 that cannot be told apart"),
        ([(1.0, 0.1), (1.1, 0.1), (3.0, 0.1)], 1, "it is among the 2 that cannot be told apart"),
        ([(1.0, 0.1), (2.9, 0.1), (3.0, 0.1)], 2, "it cannot be told apart from 1 other."),
        ([(1.0, 0.1), (2.9, 0.1), (3.0, 0.1), (3.0, 0.1)], 2, "apart from 2 others."),
        ([(1.0, 0.1), (2.0, None), (3.0, 0.1)], 0, "whether it is the lowest cannot be said"),
        ([(1.0, None), (2.0, 0.1), (3.0, 0.1)], 0, "whether it is the lowest cannot be said"),
        ([(1.0, 0.1), (2.0, 0.1), (3.0, None)], 2, "That is 3rd of only 3 so far."),
    ],
)
def test_the_ends_of_a_cohort(rows: list[tuple[float, float | None]], own: int, said: str) -> None:
    assert said in place_sentence(placement_of(rows, own, "lower"))
