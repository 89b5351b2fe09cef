"""A waveform's memory grows with its length by little more than its own size.

Ten million samples in a worker of 1 GiB are promised. Here the growth from sample to sample is
measured at a smaller scale; `tests/benchmarks/test_long_waveform.py` does the whole.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from measurements.kinds.ripple import KIND
from tests.benchmarks.waveforms import SAMPLE_RATE_HZ, peak_memory, write_waveform
from tests.measurements.kinds.ripple.records import POINT, setup, sine, waveform

GIB = 1 << 30
PROMISED_SAMPLES = 10_000_000


@pytest.fixture
def traced() -> Iterator[None]:
    tracemalloc.start()
    yield
    tracemalloc.stop()


def computing_bytes(samples: int, *, rate: float) -> int:
    """Most memory that check and measure take beyond the table itself."""
    seconds = samples / rate
    table = waveform(sine(50e3, rate=rate, seconds=seconds, amplitude=0.01), rate=rate)
    given = setup(fields=POINT)
    before, _ = tracemalloc.get_traced_memory()
    tracemalloc.reset_peak()
    assert KIND.check(table, given) == ()
    KIND.measure(table, given)
    _, peak = tracemalloc.get_traced_memory()
    return peak - before


@pytest.mark.usefixtures("traced")
@pytest.mark.parametrize("rate", [SAMPLE_RATE_HZ, 20e6], ids=["band-limited", "as it is"])
def test_computing_adds_less_than_three_copies_of_a_column(rate: float) -> None:
    shorter, longer = 400_000, 1_200_000
    growth = computing_bytes(longer, rate=rate) - computing_bytes(shorter, rate=rate)
    column = np.dtype(np.float64).itemsize * (longer - shorter)
    assert growth < 3 * column


def test_the_whole_path_stays_below_a_gibibyte_at_ten_million_samples(tmp_path: Path) -> None:
    peaks = []
    for samples in (1_000_000, 2_000_000):
        path = tmp_path / f"{samples}.csv"
        write_waveform(path, samples=samples)
        peaks.append(peak_memory(path, until="measure"))
    shorter, longer = peaks
    a_sample = (longer - shorter) / 1_000_000
    assert longer + a_sample * (PROMISED_SAMPLES - 2_000_000) < GIB
