"""The table of output voltage by load that is kept with a run."""

from __future__ import annotations

import pytest

from measurements.kinds.base import Matrix, Outcome
from tests.measurements.kinds.efficiency.tables import measured, points, setup, together

GRID = (0.5, 1.25, 2.5, 3.75, 5.0)


def matrix_of(outcome: Outcome) -> Matrix:
    (found,) = outcome.details.matrices
    return found


def test_it_holds_every_voltage_by_every_load() -> None:
    table = together(points([0.3, 0.75, 1.5, 2.25, 3.0], nominal=5.0, losses=1.0), points(GRID))
    found = matrix_of(measured(table, setup((("", 5.0, 3.0), ("", 20.0, 5.0)))))
    assert found.rows == ("5 V", "20 V")
    assert found.columns == ("10 %", "25 %", "50 %", "75 %", "100 %")
    assert (found.unit, found.better) == ("%", "higher")
    by_hand = [
        [100 * share * full / (share * full + loss) for share in (0.1, 0.25, 0.5, 0.75, 1.0)]
        for full, loss in ((15.0, 1.0), (100.0, 2.5))
    ]
    for row, expected in zip(found.cells, by_hand, strict=True):
        assert [cell.value for cell in row] == pytest.approx(expected)
        assert all(not cell.mark for cell in row)


def test_its_title_is_the_finding() -> None:
    title = matrix_of(measured(points(GRID), setup())).title
    # 10 W over 12.5 W, and 100 W over 102.5 W.
    assert title == "Efficiency from 80.0 % (20 V, 10 % load) to 97.6 % (20 V, 100 % load)"
    assert matrix_of(measured(points([5.0]), setup())).title == "97.6 % efficiency"


def test_a_load_between_points_is_marked_and_one_outside_is_empty_with_a_reason() -> None:
    found = matrix_of(measured(points([1.25, 3.0, 5.0]), setup()))
    (row,) = found.cells
    assert [cell.mark for cell in row] == ["", "", "interpolated", "interpolated", ""]
    assert row[0].value is None
    assert row[0].text == "–"
    assert "outside" in row[0].note


def test_a_table_that_reaches_no_load_of_the_method_has_none() -> None:
    assert measured(points([1.8]), setup()).details.matrices == ()
