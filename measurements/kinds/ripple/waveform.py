"""A sampled output voltage: its ripple in a known bandwidth, and what that is made of."""

from __future__ import annotations

from dataclasses import dataclass

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Setup
from measurements.kinds.ripple.inputs import mains_frequency, stated
from measurements.metrics.filters import band_limited, settling_samples
from measurements.metrics.ripple import (
    crest_factor,
    peak_to_peak,
    root_mean_square,
    share_on_extreme,
)
from measurements.metrics.spectrum import Component, SpectralLine, component_at, dominant_line

CUTOFF_HZ = 20e6
_LIMITED_FROM_HZ = 40e6

# A sampling frequency worked out from printed times is known to a few parts in a million.
_RATE_ROUNDING = 1e-5

# Just above 40 MHz of sampling, a cut-off of 20 MHz would all but coincide with half the sampling
# frequency, where a filter neither limits anything nor ever settles.
_HIGHEST_CUTOFF = 0.49

# The ends that the filter takes away do not make a record of one mains cycle too short.
_CYCLE_ROUNDING = 1e-3


@dataclass(frozen=True, slots=True)
class Waveform:
    """One record at one operating point.

    `time_s` [s] and `ripple` [V] hold the samples that count, `ripple` band-limited and without
    its mean; `cut` is how many were left out at each end. `mean_v` [V] is the mean as recorded,
    `clipped` the share of raw samples pressed flat against an extreme. `line` is None for a
    constant record, `mains` is the component at twice `mains_hz` [Hz], None when the record is too
    short or too coarse for it; `is_short` says which.
    """

    nominal_v: float
    current_a: float
    sample_rate: float
    cut: int
    time_s: FloatArray
    ripple: FloatArray
    mean_v: float
    clipped: float
    peak_to_peak: float
    root_mean_square: float
    crest: float | None
    line: SpectralLine | None
    mains_hz: float | None
    mains: Component | None
    is_short: bool

    @property
    def duration_s(self) -> float:
        """Length of the samples that count [s]."""
        return len(self.ripple) / self.sample_rate

    @property
    def bandwidth_hz(self) -> float:
        """Up to where ripple can be seen by the sampling alone [Hz]."""
        return min(CUTOFF_HZ, self.sample_rate / 2)


def waveform_of(table: Table, setup: Setup) -> Waveform:
    """Everything that a checked waveform gives.

    Raises
    ------
    ValueError
        The form does not state voltage and current, which `check` would have found.
    """
    nominal_v, current_a = stated(setup, "output_nominal_v"), stated(setup, "output_current_a")
    if nominal_v is None or current_a is None:
        raise ValueError("A waveform needs output_nominal_v and output_current_a.")
    voltage, rate = table["voltage_v"], sample_rate_of(table)
    mean = float(voltage.mean())
    cut = 0
    if is_limited(rate):
        cut = left_out(rate)
        limited = band_limited(voltage, sample_rate=rate, cutoff=_cutoff(rate))
        ripple = limited[cut : len(limited) - cut]
        ripple -= ripple.mean()
    else:
        ripple = voltage - mean
    mains_hz = mains_frequency(setup)
    cycles = 0 if mains_hz is None else int(len(ripple) / rate * mains_hz + _CYCLE_ROUNDING)
    flat = float(voltage.max()) == float(voltage.min())
    return Waveform(
        nominal_v=nominal_v,
        current_a=current_a,
        sample_rate=rate,
        cut=cut,
        time_s=table["time_s"][cut : len(table) - cut],
        ripple=ripple,
        mean_v=mean,
        clipped=share_on_extreme(voltage),
        # A filter leaves rounding behind in a constant record, which is no ripple.
        peak_to_peak=0.0 if flat else peak_to_peak(ripple),
        root_mean_square=0.0 if flat else root_mean_square(ripple),
        crest=None if flat else crest_factor(ripple),
        line=None if flat else dominant_line(ripple, sample_rate=rate),
        mains_hz=mains_hz,
        mains=_mains_component(ripple, rate=rate, mains_hz=mains_hz, cycles=cycles),
        is_short=cycles == 0,
    )


def sample_rate_of(table: Table) -> float:
    """Sampling frequency [Hz] of evenly spaced samples."""
    time = table["time_s"]
    return (len(time) - 1) / (float(time[-1]) - float(time[0]))


def is_limited(sample_rate: float) -> bool:
    """Whether a record sampled at that frequency [Hz] goes through the low-pass filter."""
    return sample_rate > _LIMITED_FROM_HZ * (1 + _RATE_ROUNDING)


def left_out(sample_rate: float) -> int:
    """Samples that the filter disturbs at each end of a record sampled at that frequency [Hz]."""
    return settling_samples(sample_rate=sample_rate, cutoff=_cutoff(sample_rate))


def _cutoff(sample_rate: float) -> float:
    return min(CUTOFF_HZ, _HIGHEST_CUTOFF * sample_rate)


def _mains_component(
    ripple: FloatArray, *, rate: float, mains_hz: float | None, cycles: int
) -> Component | None:
    """The component at twice the mains frequency over a whole number of mains cycles."""
    if mains_hz is None or cycles == 0 or 2 * mains_hz >= rate / 2:
        return None
    count = round(cycles / mains_hz * rate)
    return component_at(ripple[:count], sample_rate=rate, frequency=2 * mains_hz)
