"""Remarks on a scan."""

from __future__ import annotations

import pytest

from measurements.kinds.base import Outcome
from tests.measurements.kinds.port_scan.tables import (
    WORDS_65_W,
    WORDS_140_W,
    Row,
    adapter,
    measured,
    rows_of,
)


def flags(outcome: Outcome) -> dict[str, str]:
    found = {flag.code: flag.detail for flag in outcome.flags}
    assert len(found) == len(outcome.flags)
    return found


def test_a_scan_that_keeps_the_rules_has_no_remark() -> None:
    assert flags(measured(rows_of("C1", WORDS_65_W), adapter("C1"))) == {}


def test_errors_and_warnings_of_the_audit_are_counted_by_port() -> None:
    rows = [
        *rows_of("C1", ["0x0002D12C", "0x0001912C"]),  # 9 V before 5 V
        *rows_of("C2", ["0x0001912C", "0x0001912C", "0x0001F7D0"]),  # twice, and 20 A
    ]
    outcome = measured(rows, adapter("C1", "C2"))
    found = flags(outcome)
    assert "on C1 and" in found["audit-errors"]
    assert "on C2" in found["audit-warnings"]
    severities = {flag.code: flag.severity for flag in outcome.flags}
    assert severities["audit-errors"] == "warning"
    assert severities["audit-warnings"] == "note"


def test_an_object_without_meaning_is_named() -> None:
    outcome = measured(rows_of("C1", ["0x0001912C", "0xF0000001"]), adapter("C1"))
    assert "0xF0000001 in position 2 of C1" in flags(outcome)["reserved-object"]


def test_ports_that_the_file_leaves_out_are_named() -> None:
    rows: list[Row] = [("C1", 1, "0x0001912C", ""), ("C2", 1, "", "")]
    outcome = measured(rows, adapter("C1", "C2", "A1"))
    assert "C2 and A1" in flags(outcome)["port-not-scanned"]


@pytest.mark.parametrize(
    ("places", "said"),
    [
        ((1, 2, 3), ""),
        ((1, 3), "2 of C1"),
        ((2, 4), "1 and 3 of C1"),
        ((1, 2, 8, 9), ""),
        ((1, 8, 10), "9 of C1"),
        ((8,), "1, 2, 3, 4, 5, 6 and 7 of C1"),
    ],
)
def test_a_position_left_out_before_a_later_one_is_named(
    places: tuple[int, ...], said: str
) -> None:
    rows: list[Row] = [("C1", float(place), "0x0001912C", "") for place in places]
    detail = flags(measured(rows, adapter("C1"))).get("position-gap", "")
    assert (said in detail) if said else not detail


def test_places_that_the_source_leaves_open_before_the_extended_ones_are_no_gap() -> None:
    rows: list[Row] = [("C1", float(place), word, "") for place, word in WORDS_140_W]
    assert "position-gap" not in flags(measured(rows, adapter("C1", rated_power_w=140)))
