from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.curves import CurveDifference, by_level, compare_curves

NAN = float("nan")
Curve = tuple[FloatArray, FloatArray]

values = st.floats(-1e3, 1e3)
curves = st.lists(st.tuples(st.floats(0.01, 50), values), min_size=2, max_size=20).map(
    lambda rows: (np.cumsum([row[0] for row in rows]), np.array([row[1] for row in rows]))
)


def on_grid(rows: int) -> st.SearchStrategy[FloatArray]:
    return st.lists(values, min_size=rows, max_size=rows).map(np.array)


def compared(a: Curve, b: Curve) -> CurveDifference:
    found = compare_curves(a[0], a[1], b[0], b[1])
    assert found is not None
    return found


def test_two_lines_that_cross_enclose_two_triangles() -> None:
    a = np.array([0.0, 10.0]), np.array([0.0, 20.0])
    b = np.array([0.0, 10.0]), np.array([5.0, 5.0])
    found = compared(a, b)
    # They meet at x = 2.5: triangles of 2.5·5/2 and 7.5·15/2.
    assert found.area == pytest.approx(6.25 + 56.25)
    assert found.mean_absolute == pytest.approx(6.25)
    assert found.mean == pytest.approx(5)
    assert (found.largest, found.largest_at) == (15, 10)
    assert (found.start, found.end, found.covered) == (0, 10, 10)


def test_only_the_common_stretch_counts() -> None:
    a = np.array([0.0, 4.0, 8.0]), np.array([0.0, 4.0, 8.0])
    b = np.array([2.0, 6.0, 12.0]), np.array([2.0, 6.0, 0.0])
    found = compared(a, b)
    assert (found.start, found.end) == (2, 8)
    # Equal up to 6; b then falls by a watt each while a rises by one.
    assert found.largest == pytest.approx(4)
    assert found.largest_at == 8
    assert found.area == pytest.approx(4)


def test_a_gap_of_either_is_left_out() -> None:
    a = np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([1.0, 1.0, NAN, 1.0, 1.0])
    b = np.array([0.0, 4.0]), np.array([0.0, 0.0])
    found = compared(a, b)
    assert (found.start, found.end, found.covered) == (0, 4, 2)
    assert (found.area, found.mean) == (2, 1)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (([0, 1], [1, 1]), ([2, 3], [1, 1])),
        (([0, 1], [1, 1]), ([1, 3], [1, 1])),
        (([0, 1], [1, NAN]), ([0, 1], [1, 1])),
        (([0], [1]), ([0, 1], [1, 1])),
        (([], []), ([0, 1], [1, 1])),
    ],
)
def test_curves_without_a_common_stretch_are_not_compared(
    a: tuple[list[float], list[float]], b: tuple[list[float], list[float]]
) -> None:
    arrays = [np.array(item, dtype=np.float64) for item in (*a, *b)]
    assert compare_curves(*arrays) is None


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [
        ([0, 1, 1], [0, 1, 2], "increase"),
        ([0, 2, 1], [0, 1, 2], "increase"),
        ([0, NAN, 1], [0, 1, 2], "finite"),
        ([0, 1], [0, 1, 2], "as many"),
    ],
)
def test_what_is_no_curve_is_refused(x: list[float], y: list[float], reason: str) -> None:
    sound = np.array([0.0, 1.0])
    with pytest.raises(ValueError, match=reason):
        compare_curves(sound, sound, np.array(x), np.array(y))


@given(curves)
def test_a_curve_does_not_differ_from_itself(curve: Curve) -> None:
    found = compared(curve, curve)
    assert (found.largest, found.mean_absolute, found.mean, found.area) == (0, 0, 0, 0)


@given(curves, curves)
def test_the_order_turns_only_the_sign_of_the_mean(a: Curve, b: Curve) -> None:
    forth = compare_curves(a[0], a[1], b[0], b[1])
    back = compare_curves(b[0], b[1], a[0], a[1])
    if forth is None or back is None:
        assert forth is back
        return
    assert back.mean == -forth.mean
    assert (back.area, back.largest, back.largest_at) == (
        forth.area,
        forth.largest,
        forth.largest_at,
    )


@given(curves, curves)
def test_mean_and_area_are_bounded_by_each_other(a: Curve, b: Curve) -> None:
    found = compare_curves(a[0], a[1], b[0], b[1])
    assume(found is not None)
    assert found is not None
    slack = 1e-9 * (1 + found.largest)
    assert abs(found.mean) <= found.mean_absolute + slack
    assert found.mean_absolute <= found.largest + slack
    assert found.area == pytest.approx(found.mean_absolute * found.covered)


@given(on_grid(8), on_grid(8), on_grid(8))
def test_the_area_obeys_the_triangle_inequality(
    a: FloatArray, b: FloatArray, c: FloatArray
) -> None:
    x = np.arange(8.0)
    direct = compared((x, a), (x, c)).area
    assert direct <= compared((x, a), (x, b)).area + compared((x, b), (x, c)).area + 1e-6


@given(curves, st.floats(-500, 500), st.integers(-1000, 1000))
def test_a_curve_moved_up_differs_by_the_move_everywhere(
    curve: Curve, up: float, along: int
) -> None:
    x, y = np.round(curve[0] * 1024) / 1024, curve[1]
    assume(bool(np.all(np.diff(x) > 0)))
    found = compared((x, y + up), (x, y))
    assert found.mean == pytest.approx(up, abs=1e-9)
    assert found.area == pytest.approx(abs(up) * found.covered, rel=1e-9, abs=1e-6)
    moved = compared((x + along, y + up), (x + along, y))
    assert moved.area == pytest.approx(found.area, rel=1e-9, abs=1e-6)


@given(curves, curves)
def test_points_put_into_a_line_change_nothing(a: Curve, b: Curve) -> None:
    middles = (a[0][:-1] + a[0][1:]) / 2
    finer = np.sort(np.concatenate((a[0], middles)))
    assume(bool(np.all(np.diff(finer) > 0)))
    plain = compare_curves(a[0], a[1], b[0], b[1])
    fine = compare_curves(finer, np.interp(finer, a[0], a[1]), b[0], b[1])
    if plain is None or fine is None:
        assert plain is fine
        return
    assert fine.area == pytest.approx(plain.area, rel=1e-6, abs=1e-6)
    assert fine.largest == pytest.approx(plain.largest, rel=1e-6, abs=1e-6)


class TestByLevel:
    def test_readings_are_averaged_over_each_whole_percent(self) -> None:
        level = np.array([4.0, 4.5, 5.0, 5.5, 6.0])
        steps, means = by_level(level, np.array([10.0, 20.0, 30.0, 50.0, 7.0]))
        assert steps.tolist() == [4, 5, 6]
        assert means.tolist() == [15, 40, 7]

    def test_a_level_that_falls_back_stays_where_it_was(self) -> None:
        steps, means = by_level(np.array([4.0, 6.0, 5.0, 6.0]), np.array([1.0, 2.0, 4.0, 6.0]))
        assert (steps.tolist(), means.tolist()) == ([4, 6], [1, 4])

    def test_what_follows_the_first_full_counts_nowhere(self) -> None:
        steps, means = by_level(np.array([99.0, 100.0, 99.0]), np.array([9.0, 1.0, 1.0]))
        assert (steps.tolist(), means.tolist()) == ([99], [9])

    def test_steps_in_a_gap_have_no_value_and_leapt_ones_are_left_out(self) -> None:
        level = np.array([10.0, NAN, 13.0, 16.0])
        steps, means = by_level(level, np.array([5.0, NAN, 6.0, 7.0]))
        assert steps.tolist() == [10, 11, 12, 13, 16]
        assert np.isnan(means).tolist() == [False, True, True, False, False]

    def test_a_reading_before_the_level_is_known_counts_nowhere(self) -> None:
        steps, means = by_level(np.array([NAN, 50.0]), np.array([5.0, 6.0]))
        assert (steps.tolist(), means.tolist()) == ([50], [6])

    def test_no_record_gives_no_curve(self) -> None:
        steps, means = by_level(np.array([]), np.array([]))
        assert steps.size == means.size == 0

    @given(
        st.lists(
            st.tuples(st.floats(0, 100) | st.just(NAN), st.floats(0, 100) | st.just(NAN)),
            max_size=50,
        )
    )
    def test_the_curve_can_always_be_compared(self, rows: list[tuple[float, float]]) -> None:
        level = np.array([row[0] for row in rows])
        power = np.array([row[1] for row in rows])
        steps, means = by_level(level, power)
        assert (np.diff(steps) > 0).all()
        assert steps.size == means.size
        found = compare_curves(steps, means, steps, means)
        assert found is None or found.area == 0
