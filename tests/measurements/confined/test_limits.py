"""What is too much for the limits is told so, and never called a fault of the file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from measurements.confined import Exhausted, Job, Limits, examine
from measurements.kinds.base import AdapterFacts, Setup
from tests.factories.measurements import no_load_log
from tests.factories.workbooks import raw_workbook

MIB = 1 << 20
ROOMY = Limits(memory_bytes=1536 * MIB, cpu_s=60)
SETUP = Setup(adapter=AdapterFacts(rated_power_w=65.0), line="high", mains_v=230.0)
ROWS = 3_000_000


def job_of(path: Path) -> Job:
    return Job(path=path, file_name="log", kind="no-load", setup=SETUP)


def next_file_is_read(tmp_path: Path) -> bool:
    path = tmp_path / "next.csv"
    path.write_bytes(no_load_log())
    return examine(job_of(path), limits=ROOMY).outcome is not None


def plain(path: Path) -> None:
    rows = "".join(f"{second},0.05{second % 7}\n" for second in range(100_000))
    path.write_text("time_s,input_power_w\n" + rows * 30, encoding="ascii")


def quoted(path: Path) -> None:
    path.write_bytes(b"time_s,input_power_w\n" + b'"1","0.05"\n' * ROWS)


def parquet(path: Path) -> None:
    power_w = np.full(ROWS, 0.05)
    pq.write_table(pa.table({"time_s": np.arange(ROWS) * 1.0, "input_power_w": power_w}), path)


def arrays(path: Path) -> None:
    with path.open("wb") as file:
        np.savez(file, time_s=np.arange(ROWS) * 1.0, input_power_w=np.full(ROWS, 0.05))


def workbook(path: Path) -> None:
    names = ("time_s", "input_power_w")
    head = "".join(f'<c t="inlineStr"><is><t>{name}</t></is></c>' for name in names)
    cells = (f"<c><v>{second}</v></c><c><v>0.05</v></c>" for second in range(60_000))
    rows = "".join(f"<row>{row}</row>" for row in (head, *cells))
    path.write_bytes(raw_workbook(rows))


# Just above what the libraries take themselves, and just below what the file needs.
@pytest.mark.parametrize(
    ("write", "limits_mib"),
    [
        (plain, (250, 310, 370)),
        (quoted, (250, 310, 370)),
        (parquet, (250, 310, 370)),
        (arrays, (250, 310, 370)),
        (workbook, (190, 205, 220)),
    ],
)
def test_a_file_that_is_too_large_for_the_memory_is_not_called_damaged(
    write: Callable[[Path], None], limits_mib: tuple[int, ...], tmp_path: Path
) -> None:
    path = tmp_path / "large"
    write(path)
    for mib in limits_mib:
        with pytest.raises(Exhausted, match=rf"more than {mib} MiB of memory\. Split the log"):
            examine(job_of(path), limits=Limits(memory_bytes=mib * MIB, cpu_s=60))
    assert next_file_is_read(tmp_path)


def test_the_limit_is_for_the_file_and_not_for_what_libraries_reserve(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(no_load_log(minutes=1200))
    smallest = Limits(memory_bytes=256 * MIB, cpu_s=60)  # that the settings allow
    assert examine(job_of(path), limits=smallest).outcome is not None


def test_too_much_time_is_told_so(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    plain(path)
    with path.open("a", encoding="ascii") as file:
        file.write("n/a,0.05\n" * 3)  # cells that are words are read one by one
    with pytest.raises(Exhausted, match=r"more than 1 s of computing time\. Split the log"):
        examine(job_of(path), limits=Limits(memory_bytes=ROOMY.memory_bytes, cpu_s=1))
    assert next_file_is_read(tmp_path)
