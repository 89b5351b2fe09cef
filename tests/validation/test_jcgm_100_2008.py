"""JCGM 100:2008, Guide to the expression of uncertainty in measurement: worked examples.

Example H.2 (resistance and reactance from simultaneous readings): raw readings read in a
reproduction; printed results from memory, and equal to a recomputation from the raw readings.
Examples 5.1.5 and 5.2.2: numbers read in a reproduction.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from measurements.metrics import FloatArray
from measurements.metrics.uncertainty import (
    ErrorSource,
    propagate,
    root_sum_square,
    standard_error,
)

READINGS: dict[str, FloatArray] = {
    "voltage": np.array([5.007, 4.994, 5.005, 4.990, 4.999]),
    "current": np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000,
    "phase": np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433]),
}


def resistance(values: Mapping[str, FloatArray]) -> FloatArray:
    return values["voltage"] * np.cos(values["phase"]) / values["current"]


def reactance(values: Mapping[str, FloatArray]) -> FloatArray:
    return values["voltage"] * np.sin(values["phase"]) / values["current"]


def impedance(values: Mapping[str, FloatArray]) -> FloatArray:
    return values["voltage"] / values["current"]


H2 = pytest.mark.parametrize(
    ("quantity", "value", "uncertainty", "without_correlation"),
    [
        (resistance, 127.732, 0.071, 0.194),
        (reactance, 219.847, 0.295, 0.201),
        (impedance, 254.260, 0.236, 0.204),
    ],
)


@pytest.mark.parametrize(
    ("name", "mean", "error"),
    [("voltage", 4.999, 0.0032), ("current", 0.019661, 0.0095e-3), ("phase", 1.04446, 0.00075)],
)
def test_h2_standard_error_of_each_input_agrees_with_table_h2(
    name: str, mean: float, error: float
) -> None:
    # The table prints means to four or five digits and errors to two.
    assert READINGS[name].mean() == pytest.approx(mean, rel=5e-5)
    assert standard_error(READINGS[name]) == pytest.approx(error, rel=0.02)


@H2
def test_h2_result_evaluated_observation_by_observation_keeps_the_correlation(
    quantity: Callable[[Mapping[str, FloatArray]], FloatArray],
    value: float,
    uncertainty: float,
    without_correlation: float,
) -> None:
    results = quantity(READINGS)
    # Half of the last printed digit; the second route of H.2.4 differs from the first by less.
    assert float(results.mean()) == pytest.approx(value, abs=0.0006)
    assert standard_error(results) == pytest.approx(uncertainty, abs=0.0011)
    assert standard_error(results) != pytest.approx(without_correlation, rel=0.1)


@H2
def test_h2_inputs_propagated_as_if_independent_give_the_wrong_uncertainty(
    quantity: Callable[[Mapping[str, FloatArray]], FloatArray],
    value: float,
    uncertainty: float,
    without_correlation: float,
) -> None:
    means = {name: np.array([readings.mean()]) for name, readings in READINGS.items()}
    sources = [
        ErrorSource(name, np.array([standard_error(readings)]))
        for name, readings in READINGS.items()
    ]
    propagated = propagate(lambda inputs: float(quantity(inputs)[0]), means, sources)
    # Published inputs are correlated by -0.36, 0.86 and -0.65; without them the law of
    # propagation (equation 10) gives 0.194, 0.201 and 0.204.
    assert propagated == pytest.approx(without_correlation, abs=0.0011)
    assert propagated != pytest.approx(uncertainty, rel=0.1)


def test_5_2_2_ten_resistors_calibrated_with_one_standard_have_ten_times_its_uncertainty() -> None:
    resistors = {"resistance": np.full(10, 1000.0)}
    shared = [ErrorSource("resistance", np.full(10, 0.100))]
    in_series = propagate(lambda v: float(v["resistance"].sum()), resistors, shared)
    assert in_series == pytest.approx(1.0, rel=1e-9)


def test_5_2_2_ten_resistors_taken_as_independent_would_have_the_incorrect_0_32_ohm() -> None:
    assert root_sum_square([0.100] * 10) == pytest.approx(0.32, abs=0.005)


def test_5_1_5_twelve_and_8_7_microvolt_combine_to_fifteen() -> None:
    assert root_sum_square([12.0, 8.7]) == pytest.approx(15.0, abs=0.5)
