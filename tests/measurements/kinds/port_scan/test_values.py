"""What a scan gives: values, facts, listings and the chart."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.power_delivery.objects import decode
from measurements.kinds.base import AdvertisedOutput, Outcome
from measurements.kinds.port_scan.kind import KIND
from tests.measurements.kinds.port_scan.tables import (
    WORDS_65_W,
    WORDS_140_W,
    Row,
    adapter,
    measured,
    rows_of,
    value,
)

EPR_ROWS: list[Row] = [("C1", float(place), word, "") for place, word in WORDS_140_W]


def listing(outcome: Outcome, key: str) -> tuple[tuple[str, ...], ...]:
    (found,) = (item for item in outcome.details.listings if item.key == key)
    assert all(len(row) == len(found.headings) for row in found.rows)
    return found.rows


def test_power_and_number_of_profiles_of_every_port() -> None:
    rows = [*EPR_ROWS, *rows_of("C2", WORDS_65_W), ("A1", None, "", "bc-dcp")]
    outcome = measured(rows, adapter("C1", "C2", "A1", rated_power_w=140))
    # By hand: 28 V · 5 A, and 20 V · 3.25 A.
    assert value(outcome, "top-pdo-power", "C1").value == 140.0
    assert value(outcome, "top-pdo-power", "C2").value == 65.0
    assert value(outcome, "profile-count", "C1").value == 7.0
    assert value(outcome, "profile-count", "C2").value == 5.0
    assert value(outcome, "protocol-count", "A1").value == 1.0
    # Nothing was read of A1's objects, so nothing is said of them.
    assert len(outcome.values) == 5
    assert {item.standard_uncertainty for item in outcome.values} == {0.0}
    assert {item.apart for item in outcome.values} == {""}


def test_the_facts_hold_words_by_position_and_protocols_as_slugs() -> None:
    rows = [
        ("a1", None, "", "BC 1.2_DCP"),
        *EPR_ROWS,
        ("C1", None, "", "pps"),
        ("A1", None, "", "bc-1.2-dcp"),
    ]
    outcome = measured(rows, adapter("C1", "A1", rated_power_w=140))
    assert outcome.details.facts == {
        "ports": [
            {
                "port": "C1",
                "words": [
                    "0x0881912C",
                    "0x0002D12C",
                    "0x0004B12C",
                    "0x000641F4",
                    "0xE004B1F4",
                    "0x00000000",
                    "0x00000000",
                    "0x0008C1F4",
                    "0xD230968C",
                ],
                "unread": [],
                "protocols": ["pps"],
            },
            {"port": "A1", "words": [], "unread": [], "protocols": ["bc-1.2-dcp"]},
        ],
        "points": [{"port": "C1"}, {"port": "A1", "position": 0.0}],
    }
    assert json.loads(json.dumps(asdict(outcome.details), allow_nan=False))


def test_rows_without_positions_count_in_the_order_of_the_file() -> None:
    numbered = measured(rows_of("C1", WORDS_65_W), adapter("C1"))
    assert measured(rows_of("C1", WORDS_65_W, numbered=False), adapter("C1")).details == (
        numbered.details
    )


def test_the_order_of_numbered_rows_does_not_matter() -> None:
    forward = measured(EPR_ROWS, adapter("C1", rated_power_w=140))
    backward = measured(EPR_ROWS[::-1], adapter("C1", rated_power_w=140))
    assert backward.details == forward.details
    assert backward.values == forward.values


def test_every_object_is_listed_with_its_quantities() -> None:
    outcome = measured([*EPR_ROWS, ("C1", 10, "0xC9A42141", "")], adapter("C1", rated_power_w=140))
    rows = listing(outcome, "objects-C1")
    flags = "unconstrained-power, epr-mode-capable"
    assert rows[0] == ("1", "fixed", "5", "3", "15", flags, "0x0881912C")
    assert rows[4] == ("5", "SPR adjustable (AVS)", "9–20", "5", "100", "", "0xE004B1F4")
    assert rows[6] == ("9", "EPR adjustable (AVS)", "15–28", "–", "140", "", "0xD230968C")
    limited = ("10", "programmable (PPS)", "3.3–21", "3.25", "68.25", "power-limited", "0xC9A42141")
    assert rows[7] == limited
    # Positions 6 and 7 were not in the file, so that they are no rows of it.
    assert [row[0] for row in rows] == ["1", "2", "3", "4", "5", "8", "9", "10"]


def test_the_audit_knows_rating_port_and_label() -> None:
    claims = [AdvertisedOutput("C1", 20.0, 5.0), AdvertisedOutput("C2", 20.0, 3.25)]
    facts = adapter("C1", "C2", rated_power_w=100, port_power_w=100, claims=claims)
    outcome = measured(rows_of("C1", WORDS_65_W), facts)
    rows = listing(outcome, "audit-C1")
    found = {(row[0], row[1]) for row in rows}
    assert ("error", "Currents that the rated power calls for") in found
    assert ("warning", "What the label claims is offered") in found
    assert rows[0][0] == "error"
    assert all(row[3] for row in rows)
    # What the label prints of another port is not held against this one.
    others = adapter("C1", "C2", rated_power_w=65, claims=claims[1:])
    titles = {item.key for item in measured(rows_of("C1", WORDS_65_W), others).details.listings}
    assert not any("label" in row[1] for row in listing(outcome, "objects-C1"))
    assert "objects-C1" in titles


def test_an_adapter_with_one_port_is_audited_by_its_own_rating_and_label() -> None:
    claim = AdvertisedOutput("", 20.0, 5.0)
    outcome = measured(rows_of("C1", WORDS_65_W), adapter("C1", rated_power_w=100, claims=[claim]))
    rules = {row[1] for row in listing(outcome, "audit-C1")}
    assert "Currents that the rated power calls for" in rules
    assert "What the label claims is offered" in rules
    # What an earlier scan found is no label.
    scanned = AdvertisedOutput("C1", 20.0, 5.0, "profile")
    again = measured(rows_of("C1", WORDS_65_W), adapter("C1", claims=[scanned]))
    assert not any(
        "label" in row[1]
        for item in again.details.listings
        if item.key.startswith("audit")
        for row in item.rows
    )


def test_a_rule_that_is_only_remembered_says_so() -> None:
    rows = listing(measured(EPR_ROWS, adapter("C1", rated_power_w=140)), "audit-C1")
    (cable,) = (row for row in rows if row[1] == "EPR needs an EPR cable")
    assert cable[3].endswith("from memory")


def test_an_implausible_object_keeps_the_power_out_of_rankings() -> None:
    rows = rows_of("C1", ["0x0001912C", "0x000FFFFF"])
    power = value(measured(rows, adapter("C1")), "top-pdo-power", "C1")
    # By hand: 51.15 V · 10.23 A.
    assert power.value == pytest.approx(523.2645)
    assert "implausible" in power.apart
    assert "Object 2" in power.apart


def test_an_implausible_object_of_little_power_is_no_hindrance() -> None:
    # 0.05 V at 10 A beside 20 V at 5 A.
    rows = rows_of("C1", ["0x0001912C", "0x000641F4", "0x000007E8"])
    outcome = measured(rows, adapter("C1"))
    power = value(outcome, "top-pdo-power", "C1")
    assert (power.value, power.apart) == (100.0, "")
    rules = {row[1] for row in listing(outcome, "audit-C1")}
    assert "No cable carries more than 5 A" in rules


def test_padding_and_unknown_types_are_kept_and_not_counted() -> None:
    words = ["0x0001912C", "0x00000000", "0xF0000000"]
    outcome = measured(rows_of("C1", words), adapter("C1"))
    assert value(outcome, "profile-count", "C1").value == 1.0
    assert outcome.details.facts["ports"][0]["words"] == words
    assert [row[1] for row in listing(outcome, "objects-C1")] == ["fixed", "padding", "reserved"]


def test_a_port_that_offers_nothing_has_a_power_of_0_and_no_chart() -> None:
    outcome = measured([("C1", 1, "0x00000000", ""), ("A1", None, "", "x")], adapter("C1", "A1"))
    assert {(item.metric, item.condition.port): item.value for item in outcome.values} == {
        ("profile-count", "C1"): 0.0,
        ("top-pdo-power", "C1"): 0.0,
        ("protocol-count", "A1"): 1.0,
    }
    assert outcome.plot is None
    assert outcome.trace == {}
    rows = listing(outcome, "protocols")
    assert rows == (("A1", "x"),)


def test_the_chart_steps_where_the_offer_does() -> None:
    rows = [*rows_of("C1", WORDS_65_W), *rows_of("C2", ["0x0001912C", "0xD230968C"])]
    outcome = measured(rows, adapter("C1", "C2"))
    assert outcome.plot is not None
    assert outcome.plot.title == "C2 advertises up to 140 W; of the others C1 most, up to 65 W"
    assert [line.label for line in outcome.plot.lines] == ["C1", "C2"]
    voltage = outcome.trace["voltage_v"]
    assert (np.diff(voltage) > 0).all()
    first, second = (outcome.trace[line.column] for line in outcome.plot.lines)

    def at(currents: np.ndarray, voltage_v: float) -> float:
        (place,) = np.flatnonzero(voltage == voltage_v)
        return float(currents[place])

    assert at(first, 5.0) == 3.0
    assert at(first, 20.0) == 3.25
    # Adjustable from 9 to 15 V at 3 A, then to 20 V at 3.25 A.
    assert np.isnan(at(first, 8.99))
    assert at(first, 9.01) == 3.0
    assert at(first, 15.01) == 3.25
    assert np.isnan(at(first, 20.01))
    # 140 W: the cable's 5 A up to 28 V.
    assert at(second, 28.0) == 5.0
    between = (voltage > 5.0) & (voltage < 15.0)
    assert np.isnan(second[between]).all()


@given(st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=13))
def test_any_words_are_kept_as_they_came_and_bound_what_is_computed(words: list[int]) -> None:
    rows = rows_of("C1", [f"0x{word:08X}" for word in words])
    outcome = measured(rows, adapter("C1"))
    kept = outcome.details.facts["ports"][0]["words"]
    assert [int(word, 16) for word in kept] == words
    objects = [decode(word, position=place) for place, word in enumerate(words, start=1)]
    powers = [item.power_max_w for item in objects if item.power_max_w is not None]
    count = value(outcome, "profile-count", "C1").value
    assert count == sum(item.kind not in ("padding", "reserved") for item in objects)
    if count:
        top = value(outcome, "top-pdo-power", "C1").value
        fixed = [item.power_max_w or 0.0 for item in objects if item.kind == "fixed"]
        assert max(fixed, default=0.0) <= top <= max(powers)
    if outcome.plot is not None:
        currents = outcome.trace[outcome.plot.lines[0].column]
        assert np.nanmax(currents, initial=0.0) <= max(
            [5.0, *(item.current_max_a or 0.0 for item in objects)]
        )


@given(st.permutations([*EPR_ROWS, ("C2", 1.0, "0x0001912C", ""), ("A1", None, "", "bc-dcp")]))
def test_the_order_of_rows_changes_nothing(rows: list[Row]) -> None:
    facts = adapter("C1", "C2", "A1", rated_power_w=140)
    outcome = measured(rows, facts)
    assert outcome.values == measured(sorted(rows, key=str), facts).values


def test_every_value_is_of_a_declared_metric_and_every_map_of_them() -> None:
    outcome = measured([*rows_of("C1", WORDS_65_W), ("C1", None, "", "x")], adapter("C1"))
    declared = {metric.key for metric in KIND.metrics}
    assert {item.metric for item in outcome.values} == declared
    assert not KIND.needs_mains
