"""Long sampled waveforms, and what a process needs at most to read and compute one."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

SAMPLE_RATE_HZ = 100e6

_ROOT = Path(__file__).resolve().parent.parent.parent

_PROGRAM = """
import json, resource, sys
from pathlib import Path
from measurements.intake.tables import read_table
from measurements.kinds.base import AdapterFacts, Setup
from measurements.kinds.ripple import KIND as kind


def peak_bytes():
    # What a process inherits from the one that started it counts in `ru_maxrss`, not here.
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return 1024 * int(line.split()[1])
    return 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


path, until = Path(sys.argv[1]), sys.argv[2]
reading = read_table(path, kind.columns, file_name=path.name)
said = {"problems": [problem.detail for problem in reading.problems], "values": 0}
if reading.table is not None and until == "measure":
    setup = Setup(
        adapter=AdapterFacts(rated_power_w=100.0),
        line="high",
        mains_hz=50.0,
        fields={"output_nominal_v": 20.0, "output_current_a": 5.0},
    )
    said["problems"] = [problem.detail for problem in kind.check(reading.table, setup)]
    said["values"] = len(kind.measure(reading.table, setup).values)
print(json.dumps({**said, "peak_bytes": peak_bytes()}))
"""


def write_waveform(path: Path, *, samples: int) -> None:
    """Samples of 20 V with a mains and a switching component and noise, as a scope exports them."""
    random = np.random.default_rng(20261124)
    with path.open("w", encoding="utf-8") as file:
        file.write("time_s,voltage_v\n")
        for start in range(0, samples, 200_000):
            time = np.arange(start, min(start + 200_000, samples)) / SAMPLE_RATE_HZ
            voltage = (
                20.0
                + 0.03 * np.sin(2 * np.pi * 100.0 * time)
                + 0.01 * np.sin(2 * np.pi * 132e3 * time)
                + random.normal(0.0, 0.002, time.size)
            )
            rows = zip(time.tolist(), voltage.tolist(), strict=True)
            file.write("".join(f"{second:.8f},{volt:.5f}\n" for second, volt in rows))


def peak_memory(path: Path, *, until: str) -> int:
    """Most bytes resident in a process of its own that reads the file, or measures it as well.

    Raises `ValueError` with the reasons when the file is refused.
    """
    finished = subprocess.run(
        [sys.executable, "-c", _PROGRAM, str(path), until],
        check=True,
        capture_output=True,
        cwd=_ROOT,
        encoding="utf-8",
    )
    said = json.loads(finished.stdout)
    if said["problems"] or (until == "measure" and not said["values"]):
        raise ValueError(f"The waveform was not computed: {said['problems']}")
    return int(said["peak_bytes"])
