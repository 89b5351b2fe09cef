"""Ten million samples of a waveform in one file: memory, and time against a script.

    python -m pytest tests/benchmarks/test_long_waveform.py -s

The worker of a small machine has 1 GiB. The script is `pyarrow.csv.read_csv` and the same
arithmetic in numpy and scipy: a zero-phase Butterworth filter, peak to peak, RMS, and the strongest
spectral line.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyarrow import csv
from scipy import fft, signal

from measurements.intake.tables import read_table
from measurements.kinds.base import AdapterFacts, Setup
from measurements.kinds.ripple import KIND
from tests.benchmarks.stopwatch import median_s, report
from tests.benchmarks.waveforms import SAMPLE_RATE_HZ, peak_memory, write_waveform

SAMPLES = 10_000_000
MIB = 1 << 20
SETUP = Setup(
    adapter=AdapterFacts(rated_power_w=100.0),
    line="high",
    mains_hz=50.0,
    fields={"output_nominal_v": 20.0, "output_current_a": 5.0},
)


def test_memory_of_ten_million_samples(tmp_path: Path) -> None:
    path = tmp_path / "waveform.csv"
    write_waveform(path, samples=SAMPLES)
    reading = peak_memory(path, until="read")
    computing = peak_memory(path, until="measure")
    print(
        f"\n{SAMPLES:,} samples in {path.stat().st_size / MIB:.0f} MiB: at most "
        f"{reading / MIB:.0f} MiB resident to read them, {computing / MIB:.0f} MiB to read and "
        "compute them"
    )
    assert computing < 1024 * MIB


def test_time_of_ten_million_samples(tmp_path: Path) -> None:
    path = tmp_path / "waveform.csv"
    write_waveform(path, samples=SAMPLES)
    ours: dict[str, float] = {}
    theirs: dict[str, float] = {}

    def product() -> None:
        reading = read_table(path, KIND.columns, file_name=path.name)
        assert reading.table is not None
        assert not KIND.check(reading.table, SETUP)
        for item in KIND.measure(reading.table, SETUP).values:
            ours.setdefault(item.metric, item.value)

    def script() -> None:
        table = csv.read_csv(path)
        voltage = table.column("voltage_v").to_numpy()
        time = table.column("time_s").to_numpy()
        rate = (len(time) - 1) / (time[-1] - time[0])
        sections = signal.butter(4, 20e6, fs=rate, output="sos")
        limited = signal.sosfiltfilt(sections, voltage)
        cut = int(rate / 20e6 * 20)
        ripple = limited[cut:-cut] - limited[cut:-cut].mean()
        spectrum = np.abs(fft.rfft(ripple * signal.windows.hann(len(ripple), sym=False)))
        spectrum[:2] = 0
        theirs["ripple-loaded"] = 1e3 * float(np.ptp(ripple))
        theirs["ripple-rms"] = 1e3 * float(np.sqrt(np.mean(ripple**2)))
        theirs["ripple-frequency"] = float(spectrum.argmax()) * rate / len(ripple)

    product_s = median_s(product, rounds=3)
    script_s = median_s(script, rounds=3)
    report(
        f"{SAMPLES:,} samples, read, checked and computed",
        duration_s=product_s,
        yardstick="pyarrow.csv.read_csv and the same arithmetic",
        yardstick_s=script_s,
    )
    assert ours["ripple-rms"] == pytest.approx(theirs["ripple-rms"], rel=1e-3)
    assert ours["ripple-loaded"] == pytest.approx(theirs["ripple-loaded"], rel=0.02)
    assert ours["ripple-frequency"] == pytest.approx(
        theirs["ripple-frequency"], abs=SAMPLE_RATE_HZ / SAMPLES
    )
