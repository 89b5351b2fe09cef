"""What the public contract promises of every value of a ripple run."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from measurements.kinds.base import Accuracy, AdvertisedOutput, PortFacts
from measurements.kinds.ripple import KIND
from tests.measurements.kinds.ripple.records import (
    ADVERTISED,
    POINT,
    SCOPE,
    measured,
    metrics_of,
    readings,
    setup,
    sine,
    value,
    waveform,
)

TABLE = readings((20, 5, 62), (5, 0, 30), (5, 3, 48), (5, 1.5, 55), (20, 0, 21), (5, 0, 28))


def test_the_largest_peak_to_peak_is_taken_over_all_and_at_each_voltage() -> None:
    outcome = measured(TABLE, setup())
    assert value(outcome, "ripple-no-load").value == 30
    assert value(outcome, "ripple-no-load", output_v=5.0).value == 30
    assert value(outcome, "ripple-no-load", output_v=20.0).value == 21
    assert value(outcome, "ripple-loaded").value == 62
    assert value(outcome, "ripple-loaded", output_v=5.0).value == 55
    assert value(outcome, "ripple-loaded", output_v=20.0).value == 62
    assert metrics_of(outcome) == {"ripple-no-load", "ripple-loaded", "ripple-share"}
    assert outcome.verdicts == ()
    assert all(item.apart == "" for item in outcome.values)


def test_the_share_is_of_the_nominal_voltage_and_its_worst_may_lie_elsewhere() -> None:
    outcome = measured(TABLE, setup())
    # 55 mV of 5 V is 1.1 %, 62 mV of 20 V only 0.31 %.
    assert value(outcome, "ripple-share").value == pytest.approx(1.1)
    assert value(outcome, "ripple-share", output_v=20.0, load="full").value == pytest.approx(0.31)
    assert value(outcome, "ripple-share", output_v=20.0, load="none").value == pytest.approx(0.105)
    assert value(outcome, "ripple-share", output_v=5.0, load="none").value == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("advertised", "current", "unloaded"),
    [
        (ADVERTISED, 0.0249, True),  # 0.5 % of 5 A
        (ADVERTISED, 0.0251, False),
        ((), 0.0049, True),
        ((), 0.0051, False),
        ((), -0.0049, True),
        ((AdvertisedOutput("", 9.0, 3.0),), 0.0051, False),
    ],
)
def test_without_load_is_below_half_a_per_cent_of_the_advertised_current(
    advertised: tuple[AdvertisedOutput, ...], current: float, unloaded: bool
) -> None:
    outcome = measured(readings((20, current, 30)), setup(advertised=advertised))
    assert ("ripple-no-load" in metrics_of(outcome)) is unloaded
    assert ("ripple-loaded" in metrics_of(outcome)) is not unloaded


def test_what_is_advertised_for_the_port_goes_before_what_is_for_any() -> None:
    advertised = (
        AdvertisedOutput("", 20.0, 5.0),
        AdvertisedOutput("C2", 20.0, 1.0),
        AdvertisedOutput("C1", 20.0, 7.0),
    )
    given_setup = setup(advertised=advertised, port=PortFacts("C2", "usb-c"))
    outcome = measured(readings((20, 0.006, 30), (20, 1.0, 40)), given_setup)
    assert value(outcome, "ripple-loaded").apart == ""
    assert "ripple-no-load" not in metrics_of(outcome)
    # Of all ports the highest counts when none is named: 7 A, and 1 A is far from it.
    other = measured(readings((20, 0.006, 30), (20, 1.0, 40)), setup(advertised=advertised))
    assert "1 A of 7 A" in value(other, "ripple-loaded").apart
    assert value(other, "ripple-no-load").apart == ""


@pytest.mark.parametrize(("current", "apart"), [(4.49, True), (4.5, False)])
def test_a_load_far_below_the_advertised_current_is_listed_apart(
    current: float, apart: bool
) -> None:
    outcome = measured(readings((20, 0, 20), (20, current, 60), (5, 3, 40)), setup())
    assert bool(value(outcome, "ripple-loaded", output_v=20.0).apart) is apart
    assert bool(value(outcome, "ripple-loaded").apart) is apart
    assert value(outcome, "ripple-loaded", output_v=5.0).apart == ""
    assert value(outcome, "ripple-no-load").apart == ""


def test_one_of_several_voltages_is_not_the_worst_of_them() -> None:
    outcome = measured(readings((20, 0, 20), (20, 5, 60)), setup())
    assert "5, 20 V are advertised" in value(outcome, "ripple-loaded").apart
    assert value(outcome, "ripple-loaded", output_v=20.0).apart == ""
    alone = setup(advertised=(AdvertisedOutput("", 20.0, 5.0),))
    assert value(measured(readings((20, 5, 60)), alone), "ripple-loaded").apart == ""


def test_the_instrument_gives_the_uncertainty() -> None:
    outcome = measured(TABLE, setup())
    expected = (0.03 * 62 + 1) / math.sqrt(3)
    assert value(outcome, "ripple-loaded").standard_uncertainty == pytest.approx(expected)
    # Worst share: 55 mV at 5 V.
    expected = (0.03 * 55 + 1) / math.sqrt(3) / 5000 * 100
    assert value(outcome, "ripple-share").standard_uncertainty == pytest.approx(expected)
    bare = measured(TABLE, setup(accuracies=()))
    assert {item.standard_uncertainty for item in bare.values} == {0.0}
    other = Accuracy("Meter", "output_voltage", reading_percent=5, fixed=5)
    assert measured(TABLE, setup(accuracies=(other,))).values == bare.values


def test_a_waveform_of_a_sine_and_mains_ripple_gives_every_value() -> None:
    rate = 2e6
    voltage = sine(130e3, rate=rate, seconds=0.1, amplitude=0.02) + sine(
        100, rate=rate, seconds=0.1, amplitude=0.005, mean=0
    )
    outcome = measured(waveform(voltage, rate=rate), setup(fields=POINT))
    assert value(outcome, "ripple-loaded", output_v=20.0).value == pytest.approx(50, abs=0.3)
    # RMS of two lines: √(20² + 5²)/√2.
    assert value(outcome, "ripple-rms", output_v=20.0, load="full").value == pytest.approx(
        math.sqrt(212.5), rel=1e-6
    )
    assert value(outcome, "ripple-frequency", output_v=20.0, load="full").value == pytest.approx(
        130e3, abs=0.1
    )
    assert value(outcome, "ripple-mains", output_v=20.0, load="full").value == pytest.approx(
        10, rel=1e-4
    )
    crest = value(outcome, "ripple-crest", output_v=20.0, load="full")
    assert crest.value == pytest.approx(25 / math.sqrt(212.5), rel=0.01)
    assert crest.standard_uncertainty == pytest.approx(1 / math.sqrt(3) / math.sqrt(212.5))
    # Half a bin of 10 Hz, rectangular.
    frequency = value(outcome, "ripple-frequency", output_v=20.0, load="full")
    assert frequency.standard_uncertainty == pytest.approx(5 / math.sqrt(3), rel=1e-3)
    rms = value(outcome, "ripple-rms", output_v=20.0, load="full")
    assert rms.standard_uncertainty == pytest.approx(
        (0.03 * math.sqrt(212.5) + 1) / math.sqrt(3), rel=1e-6
    )


@pytest.mark.parametrize("rate", [100e6, 500e6])
def test_a_fast_waveform_is_limited_to_20_mhz_first(rate: float) -> None:
    seconds = 20e-6
    slow = sine(1e6, rate=rate, seconds=seconds, amplitude=0.01)
    spikes = sine(45e6, rate=rate, seconds=seconds, amplitude=0.05, mean=0)
    table = waveform(slow + spikes, rate=rate)
    sections = signal.butter(4, 20e6, fs=rate, output="sos")
    reference = signal.sosfiltfilt(sections, slow + spikes)[200:-200]
    outcome = measured(table, setup(fields=POINT))
    assert value(outcome, "ripple-loaded", output_v=20.0).value == pytest.approx(
        1000 * float(np.ptp(reference)), rel=1e-3
    )
    assert value(outcome, "ripple-loaded", output_v=20.0).value < 21


def test_a_waveform_of_40_ms_s_is_not_limited() -> None:
    # 20 phases of the sine are sampled, the nearest half a step away from its crest.
    fast = sine(18e6, rate=40e6, seconds=1e-4, amplitude=0.05)
    outcome = measured(waveform(fast, rate=40e6), setup(fields=POINT))
    assert value(outcome, "ripple-loaded", output_v=20.0).value == pytest.approx(
        100 * math.cos(math.pi / 20), rel=1e-6
    )
    # Just above, the ends that the filter disturbs go, but nothing of the band below 20 MHz.
    slow = sine(1e6, rate=40.01e6, seconds=1e-3, amplitude=0.05)
    outcome = measured(waveform(slow, rate=40.01e6), setup(fields=POINT))
    assert value(outcome, "ripple-loaded", output_v=20.0).value == pytest.approx(100, rel=0.01)


def test_a_waveform_without_load_is_named_so() -> None:
    voltage = sine(3e3, rate=1e6, seconds=0.02, amplitude=0.01)
    outcome = measured(waveform(voltage, rate=1e6), setup(fields={**POINT, "output_current_a": 0}))
    assert value(outcome, "ripple-no-load", output_v=20.0).value == pytest.approx(20, rel=1e-3)
    assert value(outcome, "ripple-rms", output_v=20.0, load="none").value == pytest.approx(
        10 / math.sqrt(2), rel=1e-6
    )
    assert "ripple-loaded" not in metrics_of(outcome)


@pytest.mark.parametrize(
    ("seconds", "is_there"), [(0.0199, False), (0.02, True), (0.021, True), (0.055, True)]
)
def test_the_mains_component_needs_one_mains_cycle(seconds: float, is_there: bool) -> None:
    voltage = sine(100, rate=1e5, seconds=seconds, amplitude=0.01)
    outcome = measured(waveform(voltage, rate=1e5), setup(fields=POINT))
    assert ("ripple-mains" in metrics_of(outcome)) is is_there
    if is_there:
        found = value(outcome, "ripple-mains", output_v=20.0, load="full")
        assert found.value == pytest.approx(20, rel=1e-4)


@pytest.mark.parametrize(("mains_hz", "ripple_hz"), [(None, 100.0), (50.0, 100.0), (60.0, 120.0)])
def test_twice_the_stated_mains_frequency_is_looked_at(
    mains_hz: float | None, ripple_hz: float
) -> None:
    voltage = sine(ripple_hz, rate=1e5, seconds=0.1, amplitude=0.01)
    outcome = measured(waveform(voltage, rate=1e5), setup(fields=POINT, mains_hz=mains_hz))
    found = value(outcome, "ripple-mains", output_v=20.0, load="full")
    assert found.value == pytest.approx(20, rel=1e-4)


def test_at_low_line_the_mains_is_60_hz_unless_stated() -> None:
    voltage = sine(120, rate=1e5, seconds=0.1, amplitude=0.01)
    outcome = measured(waveform(voltage, rate=1e5), setup(fields=POINT, mains_hz=None, line="low"))
    (found,) = [item for item in outcome.values if item.metric == "ripple-mains"]
    assert found.value == pytest.approx(20, rel=1e-4)


def test_a_record_too_coarse_for_twice_the_mains_has_no_mains_component() -> None:
    voltage = 20 + 0.01 * np.random.default_rng(3).normal(size=150)
    outcome = measured(waveform(voltage, rate=150.0), setup(fields=POINT))
    assert "ripple-mains" not in metrics_of(outcome)
    assert "ripple-rms" in metrics_of(outcome)


@pytest.mark.parametrize("rate", [1e6, 1e9])
def test_a_flat_record_has_a_ripple_of_zero_and_neither_line_nor_crest(rate: float) -> None:
    outcome = measured(waveform(np.full(5000, 20.1), rate=rate), setup(fields=POINT))
    assert value(outcome, "ripple-loaded", output_v=20.0).value == 0
    assert value(outcome, "ripple-rms", output_v=20.0, load="full").value == 0
    assert not metrics_of(outcome) & {"ripple-crest", "ripple-frequency"}


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    shift=st.floats(-30, 30),
    gain=st.floats(0.1, 10),
    rate=st.sampled_from([1e5, 100e6]),
)
def test_a_waveforms_ripple_is_shift_invariant_and_scales(
    seed: int, shift: float, gain: float, rate: float
) -> None:
    noise = 0.01 * np.random.default_rng(seed).normal(size=3000)
    given_setup = setup(fields=POINT)
    plain = KIND.measure(waveform(20 + noise, rate=rate), given_setup)
    changed = KIND.measure(waveform(shift + gain * noise, rate=rate), given_setup)
    for metric in ("ripple-rms", "ripple-mains", "ripple-crest", "ripple-frequency"):
        factor = gain if metric in ("ripple-rms", "ripple-mains") else 1.0
        if metric in metrics_of(plain):
            one = value(plain, metric, output_v=20.0, load="full").value
            two = value(changed, metric, output_v=20.0, load="full").value
            assert two == pytest.approx(factor * one, rel=1e-4)
    span = value(plain, "ripple-loaded", output_v=20.0).value
    rms = value(plain, "ripple-rms", output_v=20.0, load="full").value
    assert value(changed, "ripple-loaded", output_v=20.0).value == pytest.approx(
        gain * span, rel=1e-6
    )
    assert span >= 2 * rms


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(
        st.tuples(st.sampled_from([5.0, 9.0, 20.0]), st.floats(0, 5), st.floats(0, 500)),
        min_size=1,
        max_size=10,
    ),
    order=st.randoms(use_true_random=False),
)
def test_the_order_of_the_rows_changes_nothing_and_the_whole_is_the_worst(
    rows: list[tuple[float, float, float]], order: random.Random
) -> None:
    shuffled = list(rows)
    order.shuffle(shuffled)
    outcome = measured(readings(*rows), setup())
    again = measured(readings(*shuffled), setup())
    assert {(v.metric, v.condition.key, v.value) for v in outcome.values} == {
        (v.metric, v.condition.key, v.value) for v in again.values
    }
    for metric in ("ripple-no-load", "ripple-loaded"):
        found = [item for item in outcome.values if item.metric == metric]
        if found:
            whole = next(item.value for item in found if item.condition.output_v is None)
            assert whole == max(i.value for i in found if i.condition.output_v is not None)


def test_a_metric_is_given_once_for_a_condition() -> None:
    for table, fields in (
        (TABLE, {}),
        (waveform(sine(1e3, rate=1e6, seconds=0.02, amplitude=0.1), rate=1e6), POINT),
    ):
        outcome = measured(table, setup(fields=fields, accuracies=(SCOPE,)))
        keys = [(item.metric, item.condition.key) for item in outcome.values]
        assert len(keys) == len(set(keys))
        assert metrics_of(outcome) <= {metric.key for metric in KIND.metrics}
