"""What keeps a scan from being read, and that rubbish is named and never raises."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.base import AdapterFacts, Setup
from measurements.kinds.port_scan.kind import KIND
from tests.measurements.kinds.port_scan.tables import WORDS_65_W, Row, adapter, rows_of, table

TWO_PORTS = Setup(adapter("C1", "A1"))


def places(rows: list[Row], setup: Setup = TWO_PORTS) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in KIND.check(table(rows), setup)]


def details(rows: list[Row], setup: Setup = TWO_PORTS) -> str:
    return " ".join(problem.detail for problem in KIND.check(table(rows), setup))


def test_a_sound_scan_has_no_problem() -> None:
    assert places([*rows_of("c1", WORDS_65_W), ("A1", None, "", "bc-dcp")]) == []


def test_an_unknown_port_is_named_with_the_ports_that_exist() -> None:
    rows: list[Row] = [("C2", 1, "0x0001912C", "")]
    assert places(rows) == [(2, "port")]
    assert "‘C2’ is no port of this adapter, which has C1 and A1" in details(rows)


def test_without_ports_in_the_catalogue_any_short_label_will_do() -> None:
    anything = Setup(adapter())
    assert places([("left", 1, "0x0001912C", "")], anything) == []
    assert places([("l" * 21, 1, "0x0001912C", "")], anything) == [(2, "port")]


@pytest.mark.parametrize("word", ["912C", "0x", "0x1000000000", "5 V 3 A", "G001912C", "٠" * 8])
def test_a_cell_that_is_no_word_is_named(word: str) -> None:
    rows: list[Row] = [("C1", 1, "0x0001912C", ""), ("C1", 2, word, "")]
    assert places(rows) == [(3, "word")]
    assert "8 hexadecimal digits" in details(rows)


@pytest.mark.parametrize("position", [0, -1, 1.5, 14, 1e300, float("inf")])
def test_a_position_is_a_whole_number_from_1_to_13(position: float) -> None:
    assert places([("C1", position, "0x0001912C", "")]) == [(2, "position")]


def test_a_position_stands_once_in_each_port_however_the_port_is_written() -> None:
    rows: list[Row] = [
        ("C1", 1, "0x0001912C", ""),
        ("A1", 1, "0x0001912C", ""),
        ("c1", 1, "0x0002D12C", ""),
    ]
    assert places(rows) == [(4, "position")]
    assert "stands in line 2 already" in details(rows)


def test_words_of_a_port_are_all_numbered_or_none() -> None:
    rows: list[Row] = [
        ("C1", 1, "0x0001912C", ""),
        ("C1", None, "0x0002D12C", ""),
        ("A1", None, "0x0001912C", ""),
    ]
    assert places(rows) == [(3, "position")]


def test_a_port_sends_at_most_13_words() -> None:
    assert places(rows_of("C1", ["0x0001912C"] * 13, numbered=False)) == []
    assert places(rows_of("C1", ["0x0001912C"] * 14, numbered=False)) == [(15, "word")]


def test_a_row_that_says_nothing_is_named_and_an_open_place_of_the_sheet_is_not() -> None:
    rows: list[Row] = [("C1", 1, "0x0001912C", ""), ("C1", 2, "", ""), ("C1", None, "", "")]
    assert places(rows) == [(4, "port")]


def test_a_sheet_that_nobody_filled_in_is_a_problem() -> None:
    assert places([("C1", 1, "", ""), ("C1", 2, "", "")]) == [(2, "word")]


def test_a_table_without_rows_or_without_ports_is_a_problem() -> None:
    assert len(KIND.check(table([]), TWO_PORTS)) == 1
    bare = Table(columns={}, rows=np.array([2], dtype=np.int64))
    assert len(KIND.check(bare, TWO_PORTS)) == 1


def test_optional_columns_may_all_be_missing() -> None:
    alone = Table(columns={}, rows=np.array([2], dtype=np.int64), texts={"port": ("C1",)})
    assert [problem.row for problem in KIND.check(alone, TWO_PORTS)] == [2]
    words = Table(
        columns={},
        rows=np.array([2, 3], dtype=np.int64),
        texts={"port": ("C1", "C1"), "word": WORDS_65_W[:2]},
    )
    assert KIND.check(words, TWO_PORTS) == ()
    assert KIND.measure(words, TWO_PORTS).details.facts["ports"][0]["words"] == [*WORDS_65_W[:2]]


def test_a_file_of_many_adapters_is_refused() -> None:
    rows: list[Row] = [(f"P{number}", 1, "0x0001912C", "") for number in range(33)]
    assert places(rows, Setup(adapter())) == [(None, "port")]


LABELS = st.sampled_from(["C1", "c1", "A1", "C2", "", "C1\u202e"]) | st.text(max_size=30)
CELLS = st.sampled_from(["", *WORDS_65_W, "0x00000000", "0xF0000000", "FFFFFFFF"]) | st.text(
    max_size=12
)
PLACES = st.none() | st.integers(-1, 15).map(float) | st.floats()


@given(
    st.lists(st.tuples(LABELS, PLACES, CELLS, st.text(max_size=8)), max_size=20),
    st.sampled_from([adapter("C1", "A1"), adapter("C1"), adapter(), adapter("c1", "C1")]),
)
def test_rubbish_is_named_by_row_or_computed_and_never_raises(
    rows: list[Row], facts: AdapterFacts
) -> None:
    setup = Setup(adapter=facts)
    problems = KIND.check(table(rows), setup)
    lines = set(range(2, len(rows) + 2))
    assert all(problem.detail.isprintable() for problem in problems)
    assert all(problem.row in lines for problem in problems if problem.row is not None)
    if not problems:
        outcome = KIND.measure(table(rows), setup)
        assert len({item.condition.port for item in outcome.values}) == len(
            outcome.details.facts["ports"]
        )
