"""From upload to ready, against a script that reads the file with pandas and does the arithmetic.

python -m pytest tests/benchmarks -s
"""

from __future__ import annotations

import time
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import requests

from measurements import processing, queries
from measurements.actions import RunFacts, receive_run
from measurements.intake.columns import Table
from measurements.kinds import get_kind
from measurements.models import Run
from tests.benchmarks.stopwatch import median_s, report
from tests.factories.catalog import make_adapter
from tests.faults.processes import Site, own_services

ROWS = 72_000


def long_log(path: Path, *, rows: int = ROWS) -> bytes:
    """Twenty hours of standby, one reading a second, five columns."""
    random = np.random.default_rng(20261124)
    frame = pd.DataFrame(
        {
            "time_s": np.arange(rows, dtype=np.float64),
            "input_power_w": np.round(0.05 + random.normal(0, 2e-4, rows), 6),
            "input_voltage_v": np.round(230 + random.normal(0, 0.1, rows), 2),
            "input_current_a": np.round(0.004 + random.normal(0, 1e-5, rows), 6),
            "power_factor": np.round(0.05 + random.normal(0, 1e-3, rows), 4),
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


@pytest.mark.django_db
def test_cost_is_linear_in_rows(tmp_path: Path) -> None:
    adapter = make_adapter()
    serials = count(1)
    costs = {}
    for rows in (ROWS, 4 * ROWS, 16 * ROWS):
        content = long_log(tmp_path / "log.csv", rows=rows)

        def upload(content: bytes = content) -> None:
            facts = RunFacts(
                adapter=adapter, kind="no-load", mains_v=230.0, unit=str(next(serials))
            )
            run = receive_run(facts, chunks=[content], file_name="log.csv", by=None).run
            assert processing.compute(run.pk) == "ready"

        costs[rows] = median_s(upload, rounds=3)
    print()
    for rows, cost_s in costs.items():
        print(f"{rows:>9,} rows: {1e3 * cost_s:6.0f} ms, {1e9 * cost_s / rows:5.0f} ns a row")


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_a_long_log_is_ready_soon_after_its_upload(tmp_path: Path) -> None:
    """Real processes: web server and worker of a served site, worker warm, asked over HTTP."""
    content = long_log(tmp_path / "log.csv")
    with own_services(tmp_path / "data") as environment:
        site = Site(environment, log=tmp_path / "site.log")
        site.start_broker()
        site.manage("migrate")
        token = site.manage("issue_token", "bench", "--role", "reviewer").stdout.split()[-1]
        site.start()
        try:
            site.wait_until_it_answers()
            headers = {"Authorization": f"Bearer {token}"}
            said = {
                "maker": "Northfold",
                "name": "Solo 65",
                "rated_power_w": 65,
                "ports": [{"label": "C1", "connector": "usb-c"}],
            }
            api = f"{site.address}/api/v1"
            slug = requests.post(f"{api}/adapters/", json=said, headers=headers, timeout=30).json()[
                "slug"
            ]
            durations = []
            for serial in range(6):
                begin = time.perf_counter()
                answer = requests.post(
                    f"{api}/runs/",
                    data={
                        "adapter": slug,
                        "kind": "no-load",
                        "mains_v": 230,
                        "unit": str(serial),
                    },
                    files={"file": ("log.csv", content)},
                    headers=headers,
                    timeout=30,
                ).json()
                while answer["state"] != "ready":
                    assert answer["state"] in ("received", "computing")
                    time.sleep(0.01)
                    answer = requests.get(
                        f"{api}/runs/{answer['id']}/", headers=headers, timeout=30
                    ).json()
                durations.append(time.perf_counter() - begin)
        finally:
            site.stop()
    first, *warm = durations
    print(
        f"\n{ROWS:,} rows from the start of the upload to ready, over HTTP: {1e3 * first:.0f} ms "
        f"the first time, then {', '.join(f'{1e3 * item:.0f}' for item in warm)} ms"
    )
