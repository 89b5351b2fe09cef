"""A kind is a folder: one more of them has form, API, page, ranking and sheet by itself."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


def test_a_folder_is_all_that_a_kind_needs(tmp_path: Path) -> None:
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("BRICKLEDGER_", "DATABASE_URL", "CELERY_", "DJANGO_", "PYTEST_"))
    }
    done = subprocess.run(
        [sys.executable, "-m", "tests.architecture.ninth_kind.drive", str(HERE / "ninth_kind")],
        cwd=ROOT,
        env={**environment, "BRICKLEDGER_DATA_DIR": str(tmp_path / "data")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    seen = json.loads(done.stdout.splitlines()[-1])
    ranking = seen.pop("ranking")
    assert [(row["rank"], row["value"], row["percentile"]) for row in ranking] == [(1, 20.25, 50.0)]
    sheet = seen.pop("sheet")
    assert ["load_percent", "hold_up_ms"] in sheet
    assert seen == {
        "form_asks": True,
        "received": 202,
        "state": "ready",
        "accepted": 200,
        "run_page": 200,
        "chart": 200,
        "method_page": True,
        "metrics": True,
        "ranking_page": True,
        "adapter_page": True,
    }
