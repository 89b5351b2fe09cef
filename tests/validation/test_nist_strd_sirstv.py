"""NIST Statistical Reference Datasets, SiRstv: five instruments, five repeats each.

Resistivity of a silicon wafer (analysis of variance, lower level of difficulty). The residual
standard deviation of the one-way analysis is the repeatability standard deviation of the
repeats. Data and certified values read in reproductions of the data set; the certified sums
follow from the data to all digits that doubles hold, so a slip in copying would show.
"""

from __future__ import annotations

import pytest

from measurements.metrics.repeatability import repeatability

INSTRUMENTS = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)

CERTIFIED_RESIDUAL_DEVIATION = 1.04076068334656e-01
CERTIFIED_WITHIN_MEAN_SQUARE = 1.08318280000000e-02
CERTIFIED_WITHIN_DEGREES = 20


def test_the_pooled_deviation_is_the_certified_residual_deviation() -> None:
    found = repeatability(INSTRUMENTS)
    assert found is not None
    assert found.degrees_of_freedom == CERTIFIED_WITHIN_DEGREES
    # Data of seven digits that share the first four: about twelve remain.
    assert found.deviation == pytest.approx(CERTIFIED_RESIDUAL_DEVIATION, rel=1e-11)
    assert found.deviation**2 == pytest.approx(CERTIFIED_WITHIN_MEAN_SQUARE, rel=1e-11)
