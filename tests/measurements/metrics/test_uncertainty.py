from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.uncertainty import (
    AS_READ,
    ErrorSource,
    accuracy_uncertainty,
    error_of_sets,
    propagate,
    rectangular,
    root_sum_square,
    standard_error,
    with_errors,
)

positive = st.floats(0.01, 1e3)


def test_a_rectangular_bound_is_divided_by_the_root_of_three() -> None:
    # The variance of a uniform distribution over ±a is a²/3: JCGM 100:2008, 4.3.7.
    assert rectangular(1.0) ** 2 == pytest.approx(1 / 3)


def test_an_accuracy_of_reading_and_fixed_part_adds_before_it_is_divided() -> None:
    # By hand: 0.5 % of 20 W is 0.1 W, and 0.05 W fixed: 0.15 / √3.
    uncertainty = accuracy_uncertainty(np.array([20.0, -20.0]), reading_percent=0.5, fixed=0.05)
    assert uncertainty == pytest.approx([0.0866025, 0.0866025], rel=1e-6)


def test_an_accuracy_keeps_a_missing_reading_missing() -> None:
    uncertainty = accuracy_uncertainty(np.array([np.nan, 1.0]), reading_percent=1, fixed=0)
    assert np.isnan(uncertainty).tolist() == [True, False]


def test_no_component_gives_no_uncertainty() -> None:
    assert root_sum_square([]) == 0.0


def test_fewer_than_two_readings_show_no_scatter() -> None:
    assert standard_error(np.array([])) == 0.0
    assert standard_error(np.array([3.2])) == 0.0


def test_standard_error_uses_n_minus_one_degrees_of_freedom() -> None:
    # By hand: 1, 2, 3 has s = 1, so that the mean's error is 1/√3.
    assert standard_error(np.array([1.0, 2.0, 3.0])) == pytest.approx(1 / math.sqrt(3))


def test_a_missing_reading_makes_the_standard_error_unknown() -> None:
    assert math.isnan(standard_error(np.array([1.0, np.nan, 2.0])))


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=30), st.floats(-1e3, 1e3))
def test_standard_error_ignores_an_offset(readings: list[float], offset: float) -> None:
    samples = np.array(readings)
    assert standard_error(samples + offset) == pytest.approx(standard_error(samples), abs=1e-9)


def difference(values: Mapping[str, FloatArray]) -> float:
    return float(values["voltage"][0] - values["voltage"][1])


def test_one_instruments_error_cancels_in_a_difference() -> None:
    voltages = {"voltage": np.array([20.0, 19.8])}
    offset = [ErrorSource("voltage", np.array([0.05, 0.05]))]
    assert propagate(difference, voltages, offset) == pytest.approx(0.0, abs=1e-12)


def test_a_gain_error_leaves_its_share_of_the_difference() -> None:
    voltages = {"voltage": np.array([20.0, 19.8])}
    gain = [ErrorSource("voltage", 0.01 * voltages["voltage"])]
    assert propagate(difference, voltages, gain) == pytest.approx(0.01 * 0.2)


@given(positive, positive, st.floats(0, 0.01), st.floats(0, 0.01))
def test_a_ratio_combines_relative_uncertainties_in_quadrature(
    output: float, input_: float, relative_out: float, relative_in: float
) -> None:
    # JCGM 100:2008, 5.1.6: (u/η)² = (u_out/P_out)² + (u_in/P_in)² for independent quantities.
    powers = {"output": np.array([output]), "input": np.array([input_])}
    sources = [
        ErrorSource("output", powers["output"] * relative_out),
        ErrorSource("input", powers["input"] * relative_in),
    ]
    ratio = output / input_
    propagated = propagate(lambda v: float(v["output"][0] / v["input"][0]), powers, sources)
    # ±1 % of the denominator bends the ratio by 1e-4 of the contribution.
    # Below the resolution of floats a shift of the powers is rounded away.
    assert propagated == pytest.approx(
        ratio * math.hypot(relative_out, relative_in), rel=2e-4, abs=1e-15 * ratio
    )


def test_no_source_gives_no_uncertainty() -> None:
    assert propagate(difference, {"voltage": np.array([1.0, 2.0])}, []) == 0.0


def test_a_source_of_an_unknown_quantity_is_refused() -> None:
    with pytest.raises(KeyError):
        propagate(
            difference,
            {"voltage": np.array([1.0, 2.0])},
            [ErrorSource("current", np.array([0.1, 0.1]))],
        )


def test_the_sets_are_the_readings_and_each_shift_up_and_down() -> None:
    values = {"voltage": np.array([20.0, 5.0]), "current": np.array([1.0, 2.0])}
    sources = [
        ErrorSource("voltage", np.array([0.5, 0.25])),
        ErrorSource("current", np.array([0.125, 0.125])),
    ]
    sets = with_errors(values, sources)
    assert sets["voltage"].tolist() == [[20, 5], [20.5, 5.25], [19.5, 4.75], [20, 5], [20, 5]]
    assert sets["current"][:3].tolist() == [[1, 2]] * 3
    assert sets["current"][3:].tolist() == [[1.125, 2.125], [0.875, 1.875]]
    assert values["voltage"].tolist() == [20, 5]


def test_without_a_source_there_is_the_set_as_read_and_no_uncertainty() -> None:
    sets = with_errors({"voltage": np.array([20.0, 19.8])}, [])
    assert sets["voltage"].tolist() == [[20.0, 19.8]]
    assert error_of_sets(sets["voltage"][:, 0]) == 0.0


def test_the_sets_of_an_unknown_quantity_are_refused() -> None:
    with pytest.raises(KeyError):
        with_errors({"voltage": np.array([1.0])}, [ErrorSource("current", np.array([0.1]))])


@given(
    powers=st.lists(st.tuples(positive, positive), min_size=1, max_size=6),
    relative=st.lists(st.floats(0, 0.01), min_size=2, max_size=2),
)
def test_sets_computed_together_give_what_propagate_gives(
    powers: list[tuple[float, float]], relative: list[float]
) -> None:
    values = dict(zip(("output", "input"), np.transpose(powers), strict=True))
    sources = [
        ErrorSource(quantity, points * part)
        for (quantity, points), part in zip(values.items(), relative, strict=True)
    ]

    def mean_ratio(readings: Mapping[str, FloatArray]) -> float:
        return float(np.mean(readings["output"] / readings["input"]))

    sets = with_errors(values, sources)
    results = np.mean(sets["output"] / sets["input"], axis=-1)
    assert results[AS_READ] == mean_ratio(values)
    assert error_of_sets(results) == propagate(mean_ratio, values, sources)
