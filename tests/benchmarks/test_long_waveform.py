"""Ten million samples of a waveform in one file: how much memory reading and computing take.

    python -m pytest tests/benchmarks/test_long_waveform.py -s

The worker of a small machine has 1 GiB.
"""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.waveforms import peak_memory, write_waveform

SAMPLES = 10_000_000
MIB = 1 << 20


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
