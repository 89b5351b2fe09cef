"""NIST Statistical Reference Datasets, Norris: linear least squares, 36 observations.

Data and certified values as NIST publishes them (NIST/ITL StRD, Norris.dat, certified values in
lines 31 to 46, data in lines 61 to 96; read). Certified values carry 15 digits.
"""

from __future__ import annotations

import numpy as np
import pytest

from measurements.metrics.regression import straight_line

# (y, x)
NORRIS = (
    (0.1, 0.2),
    (338.8, 337.4),
    (118.1, 118.2),
    (888.0, 884.6),
    (9.2, 10.1),
    (228.1, 226.5),
    (668.5, 666.3),
    (998.5, 996.3),
    (449.1, 448.6),
    (778.9, 777.0),
    (559.2, 558.2),
    (0.3, 0.4),
    (0.1, 0.6),
    (778.1, 775.5),
    (668.8, 666.9),
    (339.3, 338.0),
    (448.9, 447.5),
    (10.8, 11.6),
    (557.7, 556.0),
    (228.3, 228.1),
    (998.0, 995.8),
    (888.8, 887.6),
    (119.6, 120.2),
    (0.3, 0.3),
    (0.6, 0.3),
    (557.6, 556.8),
    (339.3, 339.1),
    (888.0, 887.2),
    (998.5, 999.0),
    (778.9, 779.0),
    (10.2, 11.1),
    (117.6, 118.3),
    (228.9, 229.2),
    (668.4, 669.1),
    (449.2, 448.9),
    (0.2, 0.5),
)

# Double precision leaves about 16 digits; sums over 36 squares of up to 1e6 cost a few of them.
DIGITS = 1e-11


def test_norris_slope_and_intercept_and_their_errors_agree_with_the_certified_values() -> None:
    y, x = np.array(NORRIS).T
    line = straight_line(x, y=y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=DIGITS)
    assert line.slope == pytest.approx(1.00211681802045, rel=DIGITS)
    assert line.intercept_error == pytest.approx(0.232818234301152, rel=DIGITS)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=DIGITS)
    assert line.residual_deviation == pytest.approx(0.884796396144373, rel=DIGITS)
