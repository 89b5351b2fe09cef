"""Standby records against the sampling method of IEC 62301, edition 2 (2011).

The method's numbers are from memory, not verified against the published text: 15 min, the first
third left out, 10 mW/h up to a mean of 1 W and 1 % of the mean per hour above it. The records are
synthetic: 901 samples a second apart, the first 300 left out, a straight drift. Energies are P
times the 8760 h of a year, which is common practice.
"""

from __future__ import annotations

import numpy as np
import pytest

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import AdapterFacts, Measured, Outcome, Setup
from measurements.kinds.no_load import KIND

EUROPE = Setup(adapter=AdapterFacts(rated_power_w=65.0), line="high", mains_v=230, mains_hz=50)
SECONDS = np.arange(901.0)


def measured(power: FloatArray) -> Outcome:
    table = Table(
        columns={"time_s": SECONDS, "input_power_w": power},
        rows=np.arange(2, power.size + 2, dtype=np.int64),
    )
    assert KIND.check(table, EUROPE) == ()
    return KIND.measure(table, EUROPE)


def drifting(start_w: float, *, milliwatts_per_hour: float) -> Outcome:
    return measured(start_w + milliwatts_per_hour / 1000 * SECONDS / 3600)


def value(outcome: Outcome, metric: str) -> Measured:
    (found,) = (item for item in outcome.values if item.metric == metric)
    return found


def is_stable(outcome: Outcome) -> bool:
    flagged = "unstable" in {flag.code for flag in outcome.flags}
    assert all(bool(item.apart) == flagged for item in outcome.values)
    return not flagged


@pytest.mark.parametrize(
    ("start_w", "milliwatts_per_hour", "stable"),
    [
        (0.050, 8.0, True),
        (0.050, 12.0, False),
        (2.0, 18.0, True),  # the limit is 20.03 mW/h, 1 % of the mean of 2.003 W
        (2.0, 22.0, False),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_the_drift_of_the_last_two_thirds_decides_whether_a_record_is_stable(
    start_w: float, milliwatts_per_hour: float, stable: bool, sign: int
) -> None:
    outcome = drifting(start_w, milliwatts_per_hour=sign * milliwatts_per_hour)
    assert is_stable(outcome) is stable


@pytest.mark.parametrize(("milliwatts_per_hour", "stable"), [(20.02, True), (20.04, False)])
def test_the_limit_of_a_record_above_one_watt_follows_its_mean(
    milliwatts_per_hour: float, stable: bool
) -> None:
    # Mean over the seconds 300 to 900, 600 on average: 2 W + 20.03 mW/h · 1/6 h = 2.0033 W.
    outcome = drifting(2.0, milliwatts_per_hour=milliwatts_per_hour)
    assert is_stable(outcome) is stable


def test_the_result_is_the_mean_of_the_last_two_thirds() -> None:
    power = np.where(SECONDS < 300, 5.0, 0.050)
    assert value(measured(power), "no-load-power").value == pytest.approx(0.050, rel=1e-12)
    mean_w = 0.050 + 0.008 * 600 / 3600
    drifted = drifting(0.050, milliwatts_per_hour=8.0)
    assert value(drifted, "no-load-power").value == pytest.approx(mean_w, rel=1e-9)


@pytest.mark.parametrize(("seconds", "is_short"), [(899, True), (900, False)])
def test_a_record_lasts_a_quarter_of_an_hour(seconds: int, is_short: bool) -> None:
    time = np.arange(seconds + 1.0)
    table = Table(
        columns={"time_s": time, "input_power_w": np.full(time.size, 0.05)},
        rows=np.arange(2, time.size + 2, dtype=np.int64),
    )
    flags = {flag.code for flag in KIND.measure(table, EUROPE).flags}
    assert ("short-record" in flags) is is_short


@pytest.mark.parametrize(
    ("power_w", "energy_kwh"),
    [(0.05, 0.438), (0.075, 0.657), (0.10, 0.876), (0.15, 1.314), (0.21, 1.8396), (0.30, 2.628)],
)
def test_a_years_energy(power_w: float, energy_kwh: float) -> None:
    outcome = measured(np.full(SECONDS.size, power_w))
    assert value(outcome, "no-load-energy").value == pytest.approx(energy_kwh, rel=1e-12)
