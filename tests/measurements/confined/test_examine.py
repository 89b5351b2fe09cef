"""The limited process: what it finds, what it cannot be made to do, and that it leaves nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from measurements.confined import Found, Job, Limits, examine, parent
from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.kinds.base import AdapterFacts, DeviceFacts, Measured, Setup
from tests.factories.arrivals import foreign_log
from tests.factories.measurements import no_load_log

ROOMY = Limits(memory_bytes=1536 << 20, cpu_s=60)
SETUP = Setup(adapter=AdapterFacts(rated_power_w=65.0), line="high", mains_v=230.0)


@pytest.fixture
def write(tmp_path: Path) -> Callable[[bytes], Path]:
    """Write a file and say where it is."""

    def written(content: bytes) -> Path:
        path = tmp_path / "log"
        path.write_bytes(content)
        return path

    return written


@pytest.fixture
def own_nursery() -> Iterator[None]:
    """A nursery that nobody used before, and that nobody uses after."""
    parent._held.close()
    yield
    parent._held.close()


def children_of(pid: int) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    )
    return [int(line) for line in listed.stdout.split()]


def nursery_pid() -> int:
    assert parent._held.nursery is not None
    return parent._held.nursery._process.pid


def values_of(found: Found) -> tuple[Measured, ...]:
    assert found.outcome is not None
    return found.outcome.values


def waited(condition: Callable[[], bool]) -> bool:
    """Whether it comes true within a while."""
    for _ in range(500):
        if condition():
            return True
        time.sleep(0.01)
    return False


def test_without_conditions_it_only_reads(write: Callable[[bytes], Path]) -> None:
    found = examine(Job(path=write(no_load_log()), file_name="log.csv"), limits=ROOMY)

    assert (found.kind, found.outcome) == ("no-load", None)
    assert found.candidates[0].is_sure
    assert found.sample is not None
    assert found.sample.row_count == 901


def test_problems_come_back_as_many_as_were_asked_for(write: Callable[[bytes], Path]) -> None:
    content = b"time_s,input_power_w\n" + b"1,x\n" * 300
    job = Job(path=write(content), file_name="log.csv", kind="no-load", problems_kept=250)

    found = examine(job, limits=ROOMY)

    assert (len(found.problems), found.problem_count) == (250, 300)


def test_a_column_map_goes_along(write: Callable[[bytes], Path]) -> None:
    headings = ("Takt (s)", "Kanal 1 (mW)", "Kanal 2 (mW)", "Netz (V)")
    map_ = ColumnMap(
        headings=tuple((text, "") for text in headings),
        columns=(Assigned("time_s", "s"), Assigned("input_power_w", "mW"), None, None),
        name="Long bench",
    )
    job = Job(path=write(foreign_log()), file_name="x", maps={"no-load": (map_,)}, setup=SETUP)

    found = examine(job, limits=ROOMY)

    assert found.kind == "no-load"
    assert found.outcome is not None
    assert found.evidence is not None
    assert found.evidence.map_name == "Long bench"


def test_devices_that_nobody_knows_stop_it_until_they_are_taken(
    write: Callable[[bytes], Path],
) -> None:
    content = b"device,port,voltage_v,current_a\nKestrel,C1,20,3\nOwl,C1,9,2\n"
    known = Setup(adapter=SETUP.adapter, devices=(DeviceFacts("owl", "Owl"),))
    job = Job(path=write(content), file_name="x", kind="device-match", setup=known)

    found = examine(job, limits=ROOMY)

    assert (found.strangers, found.outcome) == (("Kestrel",), None)


def test_it_says_how_far_it_is(write: Callable[[bytes], Path]) -> None:
    said: list[str] = []
    job = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)

    examine(job, limits=ROOMY, told=said.append)

    assert said[0] == "reading the file"
    assert said[-2:] == ["checking", "computing"]
    assert any("%" in words for words in said)


def large(tmp_path: Path) -> Path:
    """A log that takes some seconds and some hundred MiB."""
    path = tmp_path / "large.csv"
    rows = "".join(f"{second},0.05{second % 7}\n" for second in range(100_000))
    with path.open("w", encoding="ascii") as file:
        file.write("time_s,input_power_w\n")
        for _ in range(60):
            file.write(rows)
    return path


def test_a_file_that_is_gone_is_an_error_of_the_disk(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        examine(Job(path=tmp_path / "none", file_name="x", kind="no-load"), limits=ROOMY)


@pytest.mark.usefixtures("own_nursery")
def test_killed_processes_are_replaced_and_nothing_is_left_over(
    write: Callable[[bytes], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "scratch").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "scratch"))
    monkeypatch.setattr(tempfile, "tempdir", None)
    utf_16 = "time_s,input_power_w\n0,0.05\n1,0.05\n".encode("utf-16")  # is copied to be read
    job = Job(path=write(utf_16), file_name="log.csv", kind="no-load", setup=SETUP)
    first = values_of(examine(job, limits=ROOMY))
    nursery = nursery_pid()

    # Its idle child, then a child at work, then the nursery itself.
    idle = children_of(nursery)[0]
    os.kill(idle, signal.SIGKILL)
    assert waited(lambda: ") Z " in Path(f"/proc/{idle}/stat").read_text())
    assert values_of(examine(job, limits=ROOMY)) == first
    assert idle not in children_of(nursery)  # nor is it left as a zombie

    large_job = Job(path=large(tmp_path), file_name="large.csv", kind="no-load", setup=SETUP)
    killed: list[str] = []

    def kill_at_work(words: str) -> None:
        if not killed:
            killed.append(words)
            os.kill(children_of(nursery)[0], signal.SIGKILL)

    with pytest.raises(RuntimeError, match="without a word"):
        examine(large_job, limits=ROOMY, told=kill_at_work)
    assert nursery_pid() == nursery

    def kill_the_nursery(_words: str) -> None:
        if nursery_pid() == nursery:
            os.kill(nursery, signal.SIGKILL)

    assert values_of(examine(job, limits=ROOMY, told=kill_the_nursery)) == first
    assert nursery_pid() != nursery
    parent._held.close()
    assert list((tmp_path / "scratch").iterdir()) == []


@pytest.mark.usefixtures("own_nursery")
def test_children_come_from_a_process_without_threads(write: Callable[[bytes], Path]) -> None:
    examine(Job(path=write(no_load_log()), file_name="x", kind="no-load"), limits=ROOMY)
    assert len(list(Path(f"/proc/{nursery_pid()}/task").iterdir())) == 1


@pytest.mark.usefixtures("own_nursery")
def test_who_stops_listening_ends_the_work_at_once_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "scratch").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "scratch"))
    monkeypatch.setattr(tempfile, "tempdir", None)
    job = Job(path=large(tmp_path), file_name="large.csv", kind="no-load", setup=SETUP)
    at_work: list[int] = []

    def lose_interest(_words: str) -> None:
        at_work.extend([nursery_pid(), *children_of(nursery_pid())])
        raise LookupError

    with pytest.raises(LookupError):
        examine(job, limits=ROOMY, told=lose_interest)

    assert len(at_work) == 2
    assert not any(Path(f"/proc/{pid}").exists() for pid in at_work)
    assert list((tmp_path / "scratch").iterdir()) == []


@pytest.mark.usefixtures("own_nursery")
def test_it_ends_with_whoever_asked(write: Callable[[bytes], Path]) -> None:
    examine(Job(path=write(no_load_log()), file_name="x", kind="no-load"), limits=ROOMY)
    nursery = nursery_pid()
    child = children_of(nursery)[0]

    assert parent._held.nursery is not None
    process = parent._held.nursery._process
    assert process.stdin is not None
    process.stdin.close()

    assert waited(lambda: process.poll() is not None)
    assert waited(lambda: not Path(f"/proc/{child}").exists())


def test_two_threads_take_turns(write: Callable[[bytes], Path]) -> None:
    job = Job(path=write(no_load_log()), file_name="log.csv", kind="no-load", setup=SETUP)
    found: list[Found] = []

    def ask() -> None:
        found.extend(examine(job, limits=ROOMY) for _ in range(5))

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(found) == 10
    assert len(set(map(values_of, found))) == 1
