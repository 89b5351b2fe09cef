"""A charge at constant current and then constant voltage, against its closed form.

The usual model of a lithium cell (common practice): constant current I up to T, then a current
that decays as I·e^(−(t−T)/τ). Charge and energy are I·T + I·τ·(1 − e^(−(t−T)/τ)); 5 % of the peak
is reached at T + τ·ln 20; a share of the charge up to there is a logarithm away. Nothing here is
measured.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.measurements.kinds.charge.records import log, measured, setup, values_of

VOLTAGE, CURRENT, CONSTANT_S, TAU_S = 20.0, 3.0, 1800.0, 900.0
FULL_S = CONSTANT_S + TAU_S * math.log(20)
TOTAL_AS = CURRENT * (CONSTANT_S + TAU_S * 0.95)


def moment_of(share: float) -> float:
    """When a share of all charge is delivered [s]."""
    charge = share * TOTAL_AS
    if charge <= CURRENT * CONSTANT_S:
        return charge / CURRENT
    rest = (charge - CURRENT * CONSTANT_S) / (CURRENT * TAU_S)
    return CONSTANT_S - TAU_S * math.log(1 - rest)


@pytest.mark.parametrize("spacing", [1.0, 5.0])
@pytest.mark.parametrize("noise_a", [0.0, 0.001])
def test_a_whole_charge_agrees_with_its_closed_form(spacing: float, noise_a: float) -> None:
    time = np.arange(0.0, 9001.0, spacing)
    current = np.where(time < CONSTANT_S, CURRENT, CURRENT * np.exp(-(time - CONSTANT_S) / TAU_S))
    noise = np.random.default_rng(5).normal(0, noise_a, time.size)
    outcome = measured(log(time_s=time, voltage_v=VOLTAGE, current_a=current + noise), setup())
    values = values_of(outcome)
    for metric, share in (("charge-to-20", 0.2), ("charge-to-50", 0.5), ("charge-to-80", 0.8)):
        assert values[metric].value == pytest.approx(moment_of(share) / 60, abs=0.02)
    # The end is the last reading that noise lifts over 5 %: it wanders by some 30 s.
    assert values["charge-to-full"].value == pytest.approx(
        FULL_S / 60, abs=spacing / 60 + 40 * noise_a / 0.001 / 60
    )
    decayed = 1 - math.exp(-(time[-1] - CONSTANT_S) / TAU_S)
    charge = CURRENT * (CONSTANT_S + TAU_S * decayed)
    assert values["charge-delivered"].value == pytest.approx(charge / 3600, rel=1e-4)
    assert values["charge-energy"].value == pytest.approx(VOLTAGE * charge / 3600, rel=1e-4)
    assert values["charge-peak-power"].value == pytest.approx(VOLTAGE * CURRENT, rel=1e-3)
    assert values["charge-stages"].value == 1
    (stage,) = outcome.details.facts["stages"]
    # The decay has fallen by a step of 3 % after τ·0.03 = 27 s; then bins and minutes count.
    assert stage["end_s"] == pytest.approx(CONSTANT_S + 27, abs=75)
    assert stage["mean_w"] == pytest.approx(VOLTAGE * CURRENT, rel=0.01)


def test_the_level_that_a_device_shows_gives_the_same_moments() -> None:
    time = np.arange(0.0, 5401.0)
    current = np.where(time < CONSTANT_S, CURRENT, CURRENT * np.exp(-(time - CONSTANT_S) / TAU_S))
    delivered = np.where(
        time < CONSTANT_S,
        CURRENT * time,
        CURRENT * (CONSTANT_S + TAU_S * (1 - np.exp(-(time - CONSTANT_S) / TAU_S))),
    )
    # Whole percents, shown once they are reached.
    shown = np.floor(np.minimum(100, 100 * delivered / TOTAL_AS))
    values = values_of(
        measured(log(time_s=time, voltage_v=VOLTAGE, current_a=current, battery_percent=shown))
    )
    for metric, share in (
        ("charge-to-20", 0.2),
        ("charge-to-50", 0.5),
        ("charge-to-80", 0.8),
        ("charge-to-full", 1.0),
    ):
        found = values[metric]
        assert found.value == pytest.approx(moment_of(share) / 60, abs=1 / 60)
        # The stated uncertainty knows that a whole percent hides half of one.
        assert abs(found.value - moment_of(share) / 60) < 2 * found.standard_uncertainty
