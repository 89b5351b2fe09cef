"""From upload to ready, against a script that reads the file with pandas and does the arithmetic.

python -m pytest tests/benchmarks -s
"""

from __future__ import annotations

from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from measurements import processing, queries
from measurements.actions import RunFacts, receive_run
from measurements.intake.columns import Table
from measurements.kinds import get_kind
from measurements.models import Run
from tests.benchmarks.stopwatch import median_s, report
from tests.factories.catalog import make_adapter

ROWS = 72_000


def long_log(path: Path) -> bytes:
    """Twenty hours of standby, one reading a second, five columns."""
    random = np.random.default_rng(20261124)
    frame = pd.DataFrame(
        {
            "time_s": np.arange(ROWS, dtype=np.float64),
            "input_power_w": np.round(0.05 + random.normal(0, 2e-4, ROWS), 6),
            "input_voltage_v": np.round(230 + random.normal(0, 0.1, ROWS), 2),
            "input_current_a": np.round(0.004 + random.normal(0, 1e-5, ROWS), 6),
            "power_factor": np.round(0.05 + random.normal(0, 1e-3, ROWS), 4),
        }
    )
    frame.to_csv(path, index=False)
    return path.read_bytes()


@pytest.mark.django_db
def test_upload_to_ready_of_a_long_log(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    content = long_log(path)
    kind = get_kind("no-load")
    adapter = make_adapter()
    serials = count(1)
    runs: list[Run] = []

    def upload() -> None:
        # Another unit each time, so that each is a run of its own.
        facts = RunFacts(adapter=adapter, kind="no-load", mains_v=230.0, unit=str(next(serials)))
        run = receive_run(facts, chunks=[content], file_name="log.csv", by=None).run
        assert processing.compute(run.pk) == "ready"
        runs.append(run)

    computed: list[float] = []

    def script() -> None:
        frame = pd.read_csv(path)
        columns: dict[str, Any] = {str(name): frame[name].to_numpy() for name in frame}
        table = Table(columns=columns, rows=np.arange(2, len(frame) + 2, dtype=np.int64))
        setup = queries.setup_of(queries.run_to_compute(runs[0].pk))
        computed.append(kind.measure(table, setup).values[0].value)

    upload_s = median_s(upload)
    script_s = median_s(script)
    report(
        f"Upload to ready of {ROWS:,} rows",
        duration_s=upload_s,
        yardstick="pandas.read_csv and the same arithmetic",
        yardstick_s=script_s,
    )
    assert {run.values.get(metric="no-load-power").value for run in runs} == set(computed)
