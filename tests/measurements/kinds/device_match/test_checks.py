"""Tables that must not be computed, and what the person is told."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.intake.columns import Table
from measurements.kinds.base import DeviceFacts
from measurements.kinds.device_match import KIND
from tests.measurements.kinds.device_match.tables import DEVICES, ROWS, Row, setup, table


def test_a_sound_table_has_no_problems() -> None:
    assert KIND.check(table(ROWS), setup()) == ()
    assert KIND.check(table(ROWS, protocols=[""] * 6), setup()) == ()


@pytest.mark.parametrize("device", ["slate-11", "Slate 11", " SLATE 11 ", "Slate-11"])
def test_a_device_goes_by_slug_or_name(device: str) -> None:
    assert KIND.check(table([(device, " c1", 9.0, 2.0)]), setup()) == ()


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        (("Boulder", "C1", 9.0, 2.0), "device", "Slate 11, Folio 16, Pebble"),
        (("", "C1", 9.0, 2.0), "device", "blank"),
        (("pebble", "C3", 9.0, 2.0), "port", "C1, C2"),
        (("pebble", "", 9.0, 2.0), "port", "blank"),
        (("pebble", "C1", math.nan, 2.0), "voltage_v", "no finite number"),
        (("pebble", "C1", -9.0, 2.0), "voltage_v", "negative"),
        (("pebble", "C1", 9000.0, 2.0), "voltage_v", "unit"),
        (("pebble", "C1", 9.0, math.inf), "current_a", "no finite number"),
        (("pebble", "C1", 9.0, -2.0), "current_a", "negative"),
        (("pebble", "C1", 9.0, 2000.0), "current_a", "unit"),
    ],
)
def test_a_wrong_cell_is_named_by_row_and_column(row: Row, column: str, says: str) -> None:
    problems = KIND.check(table([ROWS[0], row]), setup())
    assert [(problem.row, problem.column) for problem in problems] == [(3, column)]
    assert says in problems[0].detail


def test_the_limits_of_voltage_and_current_are_let_through() -> None:
    rows = [("pebble", "C1", 60.0, 20.0), ("pebble", "C2", 0.0, 0.0)]
    assert KIND.check(table(rows), setup()) == ()


def test_only_a_few_known_devices_are_listed() -> None:
    many = [*DEVICES, *(DeviceFacts(f"device-{n}", f"Device {n}") for n in range(7))]
    (problem,) = KIND.check(table([("Boulder", "C1", 9.0, 2.0)]), setup(devices=many))
    assert "Device 1 and 5 more" in problem.detail
    assert "Device 2" not in problem.detail


def test_a_device_on_a_port_twice_is_named_with_the_first_line() -> None:
    rows = [*ROWS, ("Slate 11", "c2", 9.0, 2.0)]
    (problem,) = KIND.check(table(rows, protocols=["usb-pd"] * 6 + ["ufcs"]), setup())
    assert (problem.row, problem.column) == (8, "port")
    assert "line 3" in problem.detail


def test_a_catalogue_without_devices_or_ports_is_named() -> None:
    (problem,) = KIND.check(table(ROWS), setup(devices=()))
    assert "no reference device" in problem.detail
    (problem,) = KIND.check(table(ROWS), setup(ports=()))
    assert "no ports" in problem.detail


def test_an_empty_table_is_named() -> None:
    (problem,) = KIND.check(table([]), setup())
    assert "no rows" in problem.detail
    nothing = Table(columns={}, rows=np.array([], dtype=np.int64))
    assert KIND.check(nothing, setup())


LABELS = st.sampled_from(["C1", "c2", "C9", ""]) | st.text(max_size=4)
NAMES = st.sampled_from(["slate-11", "PEBBLE", "Folio 16", "", "unknown"]) | st.text(max_size=4)
NUMBERS = st.floats(allow_nan=True, allow_infinity=True) | st.floats(0, 60)


@settings(max_examples=300, deadline=None)
@given(
    rows=st.lists(
        st.tuples(NAMES, LABELS, NUMBERS, st.floats(-1, 21), st.text(max_size=5)), max_size=5
    ),
    with_protocol=st.booleans(),
    known=st.booleans(),
)
def test_any_table_is_either_refused_with_a_reason_or_computed(
    rows: list[tuple[str, str, float, float, str]], with_protocol: bool, known: bool
) -> None:
    protocols = [row[4] for row in rows] if with_protocol else None
    whole = table([row[:4] for row in rows], protocols=protocols)
    given_setup = setup(devices=DEVICES if known else ())
    problems = KIND.check(whole, given_setup)
    if problems:
        assert all(problem.detail for problem in problems)
        return
    outcome = KIND.measure(whole, given_setup)
    for item in outcome.values:
        assert math.isfinite(item.value)
        assert item.standard_uncertainty >= 0
    json.dumps(outcome.details.facts, allow_nan=False)
    (matrix,) = outcome.details.matrices
    assert {len(row) for row in matrix.cells} == {len(matrix.columns)}
