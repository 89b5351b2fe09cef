"""Who counts in a cohort, when, and for whom."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalog.actions import PortFacts, save_adapter
from comparisons.queries.cohorts import Filters, choose_condition, known_conditions, load_cohorts
from comparisons.queries.placements import placement_in, placements
from comparisons.queries.rankings import Ranking, adapters_ranked, population, ranking
from measurements.actions import withdraw_run
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.models import Ledger
from tests.comparisons.populations import HIGH_LINE, stand, standby_population
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log

pytestmark = pytest.mark.django_db
STANDBY = all_metrics()["no-load-power"]
EFFICIENCY = all_metrics()["average-efficiency"]


def standby(viewer: User | None = None, **asked: object) -> Ranking:
    return ranking(STANDBY, HIGH_LINE, viewer=viewer, **asked)  # type: ignore[arg-type]


def names(found: Ranking) -> list[str]:
    return [row.adapter.name for row in found.rows]


def test_a_ranking_is_what_plain_python_makes_of_the_same_values() -> None:
    dice = random.Random(62301)
    values = {f"Solo {number}": round(dice.uniform(0.03, 0.2), 2) for number in range(40)}
    adapters = standby_population(values)
    for row in standby().rows:
        value = values[row.adapter.name]
        assert row.value == value
        assert row.rank == 1 + sum(other < value for other in values.values())
        beaten = sum(other > value for other in values.values())
        level = sum(other == value for other in values.values())
        assert row.percentile == pytest.approx(100 * (beaten + level / 2) / len(values))
        combined = 2 * (0.0005**2 + 0.0005**2) ** 0.5
        ties = {
            name
            for name, other in values.items()
            if abs(other - value) <= combined and name != row.adapter.name
        }
        assert {tie.name for tie in row.near_ties} == ties
        assert row.near_tie_count == len(ties)
    by_entry = sorted(values, key=lambda name: (values[name], adapters[name].pk))
    assert names(standby()) == by_entry


def test_higher_is_better_turns_the_order_round() -> None:
    condition = Condition(line="high", output_v=20.0)
    values = {"Solo 1": 91.0, "Solo 2": 94.0, "Solo 3": 88.5}
    for name, value in values.items():
        stand(make_adapter(name), value, metric="average-efficiency", condition=condition)
    found = ranking(EFFICIENCY, condition, viewer=None)
    assert names(found) == sorted(values, key=lambda name: -values[name])


def test_an_embargoed_adapter_leaves_no_trace_for_readers(editor: User) -> None:
    adapters = standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.07})
    hidden = make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=3))
    stand(hidden, 0.01)
    seen, whole = standby(), standby(editor)
    assert names(seen) == ["Solo 1", "Solo 2", "Solo 3"]
    assert [row.rank for row in seen.rows] == [1, 2, 3]
    assert [row.percentile for row in seen.rows] == pytest.approx([250 / 3, 50.0, 50 / 3])
    assert seen.cohort.spread.count == 3
    assert names(whole) == ["Secret 1", "Solo 1", "Solo 2", "Solo 3"]
    assert population(STANDBY, HIGH_LINE, viewer=None).adapters == 3
    assert adapters_ranked(viewer=None)["no-load-power"] == 3
    assert adapters_ranked(viewer=editor)["no-load-power"] == 4
    assert known_conditions(STANDBY, viewer=None)[0].count == 3
    assert placements(adapters["Solo 1"], viewer=None)[0].rank == 1
    assert placements(adapters["Solo 1"], viewer=editor)[0].rank == 2
    assert placements(hidden, viewer=None) == ()


def test_an_embargo_that_ends_lets_the_adapter_in() -> None:
    standby_population({"Solo 1": 0.05})
    hidden = make_adapter("Secret 1", publish_on=timezone.now().date() + timedelta(days=3))
    stand(hidden, 0.01)
    assert names(standby()) == ["Solo 1"]
    hidden.publish_on = timezone.now().date()
    save_adapter(hidden)
    assert names(standby()) == ["Secret 1", "Solo 1"]


def test_a_past_day_ranks_what_stood_then() -> None:
    adapter = make_adapter("Solo 1")
    old = stand(adapter, 0.09, since=datetime(2026, 3, 1, tzinfo=UTC))
    old.current_until = datetime(2026, 5, 1, tzinfo=UTC)
    old.save()
    stand(adapter, 0.04, since=datetime(2026, 5, 1, tzinfo=UTC))
    stand(make_adapter("Solo 2"), 0.06, since=datetime(2026, 4, 1, tzinfo=UTC))
    assert names(standby(as_of=datetime(2026, 2, 1, tzinfo=UTC))) == []
    assert names(standby(as_of=datetime(2026, 3, 5, tzinfo=UTC))) == ["Solo 1"]
    assert names(standby(as_of=datetime(2026, 4, 5, tzinfo=UTC))) == ["Solo 2", "Solo 1"]
    assert names(standby(as_of=datetime(2026, 5, 1, tzinfo=UTC))) == ["Solo 1", "Solo 2"]
    assert names(standby()) == ["Solo 1", "Solo 2"]


def test_filters_narrow_the_cohort_and_its_places_with_it() -> None:
    standby_population({"Small 1": 0.03, "Small 2": 0.09}, rated_power_w=30.0)
    standby_population(
        {"Large 1": 0.05, "Large 2": 0.07},
        maker="Plovermast",
        rated_power_w=140.0,
        ports=(PortFacts("C1", "usb-c", 100.0), PortFacts("C2", "usb-c", 40.0)),
    )
    large = Filters(power_min=100.0)
    assert names(standby(filters=large)) == ["Large 1", "Large 2"]
    assert [row.percentile for row in standby(filters=large).rows] == [75.0, 25.0]
    assert names(standby(filters=Filters(power_max=30.0))) == ["Small 1", "Small 2"]
    assert names(standby(filters=Filters(ports_min=2))) == ["Large 1", "Large 2"]
    assert names(standby(filters=Filters(maker="plovermast"))) == ["Large 1", "Large 2"]
    assert names(standby(filters=Filters(power_min=31.0, power_max=100.0))) == []
    assert population(STANDBY, HIGH_LINE, viewer=None, filters=large).adapters == 2


def test_a_value_that_is_not_comparable_stands_apart_with_its_reason() -> None:
    standby_population({"Solo 1": 0.05})
    stand(make_adapter("Odd 1"), 0.01, apart="The room was too warm.")
    found = standby()
    assert names(found) == ["Solo 1"]
    assert [(item.adapter.name, item.reason) for item in found.apart] == [
        ("Odd 1", "The room was too warm.")
    ]
    assert adapters_ranked(viewer=None)["no-load-power"] == 1


def test_rows_of_a_page_are_the_rows_of_the_whole() -> None:
    standby_population({f"Solo {number}": 0.05 + number / 100 for number in range(7)})
    whole = names(standby())
    assert names(standby(start=2, limit=3)) == whole[2:5]
    assert standby(start=2, limit=3).next_start == 5
    assert standby(start=5, limit=3).next_start is None


def test_a_bracket_joins_neighbours_that_cannot_be_told_apart() -> None:
    standby_population({"Solo 1": 0.050, "Solo 2": 0.0505, "Solo 3": 0.051, "Solo 4": 0.070})
    assert [row.joined for row in standby().rows] == ["start", "middle", "end", ""]


def test_the_plainest_condition_comes_first_and_parts_are_matched() -> None:
    adapter = make_adapter("Solo 1")
    for condition in (
        Condition(line="low", output_v=20.0),
        Condition(line="high", output_v=9.0),
        Condition(line="high", output_v=20.0),
    ):
        stand(adapter, 90.0, metric="average-efficiency", condition=condition)
    stand(
        make_adapter("Solo 2"),
        90.0,
        metric="average-efficiency",
        condition=Condition(line="high", output_v=20.0),
    )
    known = known_conditions(EFFICIENCY, viewer=None)
    assert [item.condition.key for item in known] == [
        "line=high;output_v=20",
        "line=high;output_v=9",
        "line=low;output_v=20",
    ]
    assert choose_condition(known, asked={"line": "low"}) == Condition(line="low", output_v=20.0)
    assert choose_condition(known, asked={"output_v": 5.0}) is None


def test_a_place_in_a_cohort_at_hand_is_the_place_on_the_adapters_page() -> None:
    adapters = standby_population({"Solo 1": 0.05, "Solo 2": 0.06, "Solo 3": 0.07})
    cohort = load_cohorts([(STANDBY, HIGH_LINE)], viewer=None)["no-load-power", "line=high"]
    one = placement_in(cohort, adapters["Solo 2"], viewer=None)
    assert one is not None
    assert one == placements(adapters["Solo 2"], viewer=None)[0]
    assert "Better than 50 % of 3, rank 2" in one.in_words
    assert placement_in(cohort, make_adapter("Solo 4"), viewer=None) is None


def test_a_real_run_and_its_withdrawal_move_the_ranking(editor: User) -> None:
    first, second = make_adapter("Solo 1"), make_adapter("Solo 2")
    accepted(first, no_load_log(0.05), by=editor)
    run = accepted(second, no_load_log(0.04), by=editor)
    assert names(standby()) == ["Solo 2", "Solo 1"]
    withdraw_run(run, by=editor, reason="A lead was loose.")
    assert names(standby()) == ["Solo 1"]


def test_a_ranking_takes_as_many_queries_for_thirty_adapters_as_for_three() -> None:
    counts = []
    for start, stop in ((0, 3), (3, 30)):
        standby_population(
            {f"Solo {number}": 0.05 + number / 1000 for number in range(start, stop)}
        )
        Ledger.turn()
        with CaptureQueriesContext(connection) as captured:
            assert len(standby().rows) == stop
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_near_ties_follow_each_values_own_uncertainty_in_both_directions() -> None:
    dice = random.Random(7262)
    condition = Condition(line="high", output_v=20.0)
    for metric, place in (("no-load-power", HIGH_LINE), ("average-efficiency", condition)):
        facts = {}
        for number in range(30):
            adapter = make_adapter(f"{metric} {number}")
            value, spread = round(dice.uniform(1, 2), 2), dice.choice([0.0, 0.01, 0.2])
            stand(adapter, value, metric=metric, condition=place, standard_uncertainty=spread)
            facts[adapter.pk] = (value, spread)
        cohort = load_cohorts([(all_metrics()[metric], place)], viewer=None)[metric, place.key]
        for position, pk in enumerate(cohort.adapter_ids.tolist()):
            value, spread = facts[pk]
            expected = {
                other
                for other, (rival, width) in facts.items()
                if other != pk and abs(rival - value) <= 2 * (spread**2 + width**2) ** 0.5
            }
            assert set(cohort.near_ties_of(position).tolist()) == expected
