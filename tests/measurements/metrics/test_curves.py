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


def levelled(level: list[float], watts: list[float], *gaps: int) -> tuple[list[float], list[float]]:
    """A reading a second; `gaps` are the numbers of the intervals that are one."""
    joined = np.array([number not in gaps for number in range(len(level) - 1)], dtype=np.bool_)
    steps, means = by_level(
        np.arange(float(len(level))), level=np.array(level), y=np.array(watts), joined=joined
    )
    return steps.tolist(), means.tolist()


class TestByLevel:
    def test_power_is_averaged_over_the_time_of_each_whole_percent(self) -> None:
        # 4 to 5 % over 2 s on a line from 10 to 30 W, 5 to 6 % from 30 to 50 W.
        steps, means = levelled([4.0, 4.5, 5.0, 5.5, 6.0], [10.0, 20.0, 30.0, 40.0, 50.0])
        assert steps == [4, 5]
        assert means == pytest.approx([20, 40])

    def test_time_and_not_the_number_of_readings_weighs(self) -> None:
        time = np.array([0.0, 90.0, 91.0, 92.0, 93.0, 94.0, 95.0, 96.0, 97.0, 98.0, 99.0, 100.0])
        watts = np.array([10.0, 10.0, *[110.0] * 10])
        level = np.array([7.0] * 11 + [8.0])
        steps, means = by_level(time, level=level, y=watts, joined=np.ones(11, dtype=np.bool_))
        # 90 s at 10 W, a line of 1 s to 110 W, 9 s there.
        assert (steps.tolist(), means.tolist()) == ([7], [pytest.approx((900 + 60 + 990) / 100)])

    def test_a_level_that_is_crossed_between_readings_cuts_there(self) -> None:
        # 4.5 to 6.5 % in one interval, 0 to 20 W: 5 % after ¼ of it, 6 % after ¾.
        steps, means = levelled([4.5, 6.5], [0.0, 20.0])
        assert steps == [4, 5, 6]
        assert means == pytest.approx([2.5, 10, 17.5])

    def test_a_level_that_falls_back_stays_where_it_was(self) -> None:
        steps, means = levelled([4.0, 5.0, 4.0, 4.5, 6.0], [1.0, 1.0, 3.0, 3.0, 3.0])
        assert steps == [4, 5]
        assert means == pytest.approx([1, (2 + 3 + 3) / 3])

    def test_what_follows_the_first_full_counts_nowhere(self) -> None:
        assert levelled([99.0, 100.0, 99.0], [9.0, 9.0, 1.0]) == ([99], [9])

    def test_steps_that_a_gap_swallowed_have_no_value(self) -> None:
        steps, means = levelled([10.0, 11.0, 15.0, 16.0], [5.0, 5.0, 7.0, 7.0], 1)
        assert steps == [10, 11, 12, 13, 14, 15]
        assert np.isnan(means).tolist() == [False, True, True, True, True, False]
        assert (means[0], means[5]) == (5, 7)

    def test_a_reading_before_the_level_is_known_counts_nowhere(self) -> None:
        assert levelled([NAN, 50.0, 51.0], [5.0, 6.0, 6.0]) == ([50], [6])

    def test_blank_levels_lie_on_the_line_between_their_neighbours(self) -> None:
        steps, means = levelled([10.0, NAN, 12.0], [0.0, 10.0, 20.0])
        assert (steps, means) == ([10, 11], [5, 15])

    @pytest.mark.parametrize("count", [0, 1])
    def test_no_record_gives_no_curve(self, count: int) -> None:
        assert levelled([50.0] * count, [5.0] * count) == ([], [])

    @given(
        st.lists(
            st.tuples(st.floats(0, 100) | st.just(NAN), st.floats(0, 100), st.booleans()),
            min_size=1,
            max_size=50,
        )
    )
    def test_the_curve_can_always_be_compared(self, rows: list[tuple[float, float, bool]]) -> None:
        level = np.array([row[0] for row in rows])
        power = np.array([row[1] for row in rows])
        joined = np.array([row[2] for row in rows[1:]], dtype=np.bool_)
        time = np.arange(float(len(rows)))
        steps, means = by_level(time, level=level, y=power, joined=joined)
        assert (np.diff(steps) > 0).all()
        assert steps.size == means.size
        known = means[np.isfinite(means)]
        assert ((known >= power.min() - 1e-9) & (known <= power.max() + 1e-9)).all()
        found = compare_curves(steps, means, steps, means)
        assert found is None or found.area == 0
