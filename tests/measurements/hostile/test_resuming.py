"""The intake command, interrupted and repeated: nothing lost, nothing twice, the sum right."""

from __future__ import annotations

import errno
import signal
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalog.models import Adapter
from measurements.intake.rawstore import Kept, RawStore
from measurements.management import bulk
from measurements.models import Run, RunEvent, Value
from tests.factories.catalog import make_adapter
from tests.factories.measurements import no_load_log
from tests.measurements.hostile.archives import ADAPTER, RUNS
from tests.measurements.hostile.doors import assert_whole, commanded, stored

pytestmark = pytest.mark.django_db

LOGS = {f"{at}.csv": no_load_log(0.05 + at / 1000, minutes=1) for at in range(6)}
# A row of runs.csv and whether it is taken in.
GOOD_ROWS = [f"{ADAPTER},no-load,{name},230" for name in LOGS]
BAD_ROWS = [
    f"{ADAPTER},no-load,absent.csv,230",
    f"{ADAPTER},no-load,../0.csv,230",
    f"{ADAPTER},no-load,0.csv,150",
    f"{ADAPTER},no-such-kind,0.csv,230",
    "no-such-adapter,no-load,0.csv,230",
    f"{ADAPTER},no-load,,230",
    f"{ADAPTER},no-load,empty.csv,1e999",
]


def folder_of(path: Path, rows: Iterable[str]) -> Path:
    path.mkdir(exist_ok=True)
    (path / "runs.csv").write_text(RUNS + "".join(f"{row}\n" for row in rows), encoding="ascii")
    (path / "empty.csv").write_bytes(b"")
    for name, content in LOGS.items():
        (path / name).write_bytes(content)
    return path


def interrupt() -> None:
    """Ctrl-C, as the terminal sends it."""
    signal.raise_signal(signal.SIGINT)


def full() -> None:
    """No space left on the device."""
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], None], int], None]:
    """Let something happen while the n-th file from now is written to the raw store."""

    def arrange(what: Callable[[], None], after: int) -> None:
        keep = RawStore.keep
        left = iter(range(after, -1, -1))

        def kept(self: RawStore, chunks: Iterable[bytes]) -> Kept:
            def portions() -> Iterable[bytes]:
                for number, chunk in enumerate(chunks):
                    yield chunk
                    if number == 0 and next(left, None) == 0:
                        what()

            return keep(self, portions())

        monkeypatch.setattr(RawStore, "keep", kept)

    return arrange


@pytest.mark.parametrize("after", [0, 2, 5])
@pytest.mark.parametrize(
    "stop",
    [(interrupt, "Interrupted.", 130), (full, "Stopped: ", 1)],
    ids=["Ctrl-C", "full-disk"],
)
def test_a_run_of_the_command_that_was_stopped_is_repeated_and_completes_it(
    failing: Any, tmp_path: Path, stop: tuple[Callable[[], None], str, int], after: int
) -> None:
    what, said, code = stop
    make_adapter()
    package = folder_of(tmp_path / "package", GOOD_ROWS)
    failing(what, after)
    told, exit_code = commanded(package)
    assert exit_code == code
    assert f"{after} read: {after} taken in, 0 already there, 0 refused." in told
    assert said in told
    assert "run the same command again" in told
    assert Run.objects.count() == after
    assert_whole()
    told, exit_code = commanded(package)
    assert (told, exit_code) == (
        f"6 read: {6 - after} taken in, {after} already there, 0 refused.\n",
        0,
    )
    assert Run.objects.values("raw").distinct().count() == Run.objects.count() == 6
    assert not [path for path in stored() if path.suffix == ".part"]
    assert_whole()


def test_a_stop_while_accepting_accepts_nothing_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_adapter()
    package = folder_of(tmp_path / "package", GOOD_ROWS[:4])
    finish = bulk.finish
    finished: list[Run] = []

    def stopped(run: Run) -> Run:
        if len(finished) == 2:
            interrupt()
        finished.append(run)
        return finish(run)

    monkeypatch.setattr(bulk, "finish", stopped)
    told, code = commanded(package, "--accept")
    assert code == 130
    assert "4 read: 4 taken in" in told
    assert "nothing comes in twice" in told
    assert RunEvent.objects.filter(what="accepted").count() == 2
    monkeypatch.setattr(bulk, "finish", finish)
    for _ in range(2):
        told, code = commanded(package, "--accept")
        assert code == 0
        assert "4 already there" in told
        assert "4 stand, 0 could not be accepted" in told
        events = RunEvent.objects.filter(what="accepted")
        assert events.count() == events.values("run").distinct().count() == 4
    assert Value.objects.current().filter(metric="no-load-power").count() == 1


@settings(
    max_examples=8,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(rows=st.lists(st.sampled_from([*GOOD_ROWS, *BAD_ROWS]), min_size=1, max_size=12))
def test_accepted_and_refused_are_all_that_was_read(rows: list[str], tmp_path: Path) -> None:
    Run.objects.all().delete()
    if not Adapter.objects.exists():
        make_adapter()
    package = folder_of(tmp_path / "package", rows)
    bad = sum(row in BAD_ROWS for row in rows)
    good = {row for row in rows if row in GOOD_ROWS}
    again = len(rows) - bad - len(good)
    told, code = commanded(package)
    assert f"{len(rows)} read: {len(good)} taken in, {again} already there, {bad} refused." in told
    assert told.count("runs.csv, line ") >= bad
    assert code == (1 if bad else 0)
    assert Run.objects.count() == len(good)
    told, _ = commanded(package)
    assert f"{len(rows)} read: 0 taken in, {len(rows) - bad} already there, {bad} refused." in told
    assert Run.objects.count() == len(good)
