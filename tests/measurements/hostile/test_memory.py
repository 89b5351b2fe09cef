"""Bombs take no memory to speak of, true to scale, even without the limits of the child."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook

from measurements import confined
from measurements.kinds import get_kind
from tests.factories.workbooks import raw_workbook, saved
from tests.measurements.hostile.archives import GOOD, empty_members, overlapping, package
from tests.measurements.hostile.bombs import STATUS
from tests.measurements.hostile.file_cases import FAR, formats, strings

MIB = 1 << 20


def one_line(path: Path, *, size: int) -> None:
    with path.open("wb") as file:
        file.write(b"time_s,input_power_w\n0,")
        for _ in range(size // MIB):
            file.write(b"1" * MIB)


def many_columns() -> bytes:
    return (",".join(f"c{at}" for at in range(100_000)) + "\n").encode("ascii")


def ratio(size: int) -> bytes:
    return package(("z.csv", b"0" * size))


BOMBS: dict[str, tuple[str, Callable[[], bytes] | int, str, int]] = {
    "1-200 MB of zeros": ("package", lambda: ratio(200 * MIB), "which no log does", 8 * MIB),
    "3-10 TB of overlaps": ("package", lambda: overlapping(9000, size=MIB), "shares its", 24 * MIB),
    "11-100,000 members": ("package", lambda: empty_members(100_000), "far more members", 8 * MIB),
    "16-far cells": ("log", lambda: raw_workbook(FAR), "too large", 8 * MIB),
    "19-a million strings": ("log", lambda: strings(1_000_000), "different texts", 16 * MIB),
    "19-three million formats": ("log", lambda: formats(3_000_000), "formats", 16 * MIB),
    "35-one line of 200 MB": ("log", 200 * MIB, "longer than", 24 * MIB),
    "36-100,000 columns": ("log", many_columns, "columns", 32 * MIB),
}


@pytest.mark.skipif(not STATUS.exists(), reason="memory is told by /proc only")
@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_in_little_memory(name: str, tmp_path: Path) -> None:
    door, made, said, most_bytes = BOMBS[name]
    bomb, small = tmp_path / "bomb.zip", tmp_path / "bomb.small"
    if isinstance(made, int):
        one_line(bomb, size=made)
    else:
        bomb.write_bytes(made())
    small.write_bytes(saved(Workbook()) if door == "log" else package())
    done = subprocess.run(
        [sys.executable, "-m", "tests.measurements.hostile.bombs", door, str(bomb)],
        cwd=Path(__file__).parents[3],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "brickledger.settings"},
        capture_output=True,
        text=True,
        check=True,
    )
    took, _, told = done.stdout.partition("\n")
    assert said in told
    assert int(took) < most_bytes


def test_what_still_takes_too_much_ends_the_child_and_not_the_worker(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_bytes(b"time_s,input_power_w\n" + b"1,2\n" * 5_000_000)
    job = confined.Job(path=log, file_name="log.csv", kind=get_kind("no-load").slug)
    with pytest.raises(confined.Exhausted, match="Split the log") as caught:
        confined.examine(job, limits=confined.Limits(memory_bytes=192 * MIB, cpu_s=60))
    assert caught.value.what == "memory"
    log.write_bytes(GOOD)
    found = confined.examine(job, limits=confined.Limits(memory_bytes=1024 * MIB, cpu_s=60))
    assert not found.problems
