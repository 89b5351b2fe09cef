"""The example that recomputes metrics from the package alone, run as a stranger runs it."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from brickledger.examples import recompute
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.comparisons.packages.test_refusals import changed, restated

SCRIPT = Path(recompute.__file__)


def run(package: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    """The script in a folder of its own, where nothing of this project can be imported."""
    script = folder / "recompute.py"
    script.write_bytes(SCRIPT.read_bytes())
    return subprocess.run(
        [sys.executable, "-I", "-W", "error", str(script), str(package)],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_it_knows_the_standard_library_and_numpy_only() -> None:
    imported = set(re.findall(r"^(?:from|import) (\w+)", SCRIPT.read_text("utf-8"), re.MULTILINE))
    assert imported - sys.stdlib_module_names == {"numpy"}


def test_three_metrics_agree_to_a_trillionth(built: Built, tmp_path: Path) -> None:
    done = run(built.raw, tmp_path)

    assert done.returncode == 0, done.stdout + done.stderr
    found = dict(re.findall(r"^(\S+) \[\S+\]: (\d+) computed, 0 differ", done.stdout, re.MULTILINE))
    assert {
        name: int(count) >= least
        for name, (count, least) in {
            "no-load-power": (found["no-load-power"], 12),
            "charge-energy": (found["charge-energy"], 5),
            "power-density": (found["power-density"], 4),
        }.items()
    } == dict.fromkeys(("no-load-power", "charge-energy", "power-density"), True)


def _nudged(metric: str) -> Callable[[list[list[str]]], None]:
    """A change of every value of a metric by 4e-12 of itself."""

    def change(rows: list[list[str]]) -> None:
        where, what = rows[0].index("value"), rows[0].index("metric")
        for row in rows[1:]:
            if row[what] == metric:
                row[where] = repr(float(row[where]) * (1 + 4e-12))

    return change


@pytest.mark.parametrize("metric", ["no-load-power", "charge-energy", "power-density"])
def test_a_value_that_is_a_little_off_is_found(built: Built, tmp_path: Path, metric: str) -> None:
    files = changed(bench.contents(built.raw), "values.csv", _nudged(metric))
    done = run(bench.packed(tmp_path / "off.zip", files), tmp_path)

    assert done.returncode == 1
    assert re.search(rf"^{metric} .* 0 differ", done.stdout, re.MULTILINE) is None


def test_a_raw_file_that_was_changed_is_found(built: Built, tmp_path: Path) -> None:
    files = bench.contents(built.raw)
    for name in [name for name in files if name.startswith("raw/") and name.endswith(".csv")]:
        files[name] = files[name].replace(b"0.05", b"0.06")
    done = run(bench.packed(tmp_path / "other.zip", restated(files)), tmp_path)
    assert done.returncode == 1


def test_without_raw_files_it_says_what_it_needs(built: Built, tmp_path: Path) -> None:
    done = run(built.plain, tmp_path)
    assert done.returncode == 1
    assert "export it with its raw files" in done.stderr
