"""Raw files are durable before they are acknowledged, whatever fails on the way."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from measurements.intake.rawstore import RawStore, TooLarge

LOG = b"time_s,input_power_w\n0,0.1\n"
SHA256 = hashlib.sha256(LOG).hexdigest()
# The calls of the operating system that the store makes, by module and name.
CALLS = ("mkdir", "open", "fdopen", "fchmod", "fsync", "replace", "unlink")


@pytest.fixture
def store(tmp_path: Path) -> RawStore:
    return RawStore(tmp_path / "data" / "raw")


def left_in_incoming(store: RawStore) -> list[Path]:
    return list((store.root / "incoming").glob("*"))


def test_the_name_is_the_published_digest_of_abc(store: RawStore) -> None:
    # FIPS 180-2, appendix B.1: SHA-256 of the three bytes "abc".
    kept = store.keep([b"a", b"bc"])
    assert kept.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.path(kept.sha256) == store.root / "ba" / "78" / kept.sha256
    assert store.path(kept.sha256).read_bytes() == b"abc"


def test_kept_bytes_come_back_and_cannot_be_written(store: RawStore) -> None:
    kept = store.keep([LOG[:5], b"", LOG[5:]])
    assert (kept.sha256, kept.size, kept.created) == (SHA256, len(LOG), True)
    with store.open(SHA256) as file:
        assert file.read() == LOG
    assert store.path(SHA256).stat().st_mode & 0o777 == 0o444
    assert left_in_incoming(store) == []


def test_the_same_bytes_are_kept_once(store: RawStore) -> None:
    store.keep([LOG])
    before = store.path(SHA256).stat().st_ino
    assert store.keep([LOG]).created is False
    assert store.path(SHA256).stat().st_ino == before
    assert left_in_incoming(store) == []


def test_an_altered_file_is_noticed_and_replaced_when_its_bytes_come_again(store: RawStore) -> None:
    store.keep([LOG])
    path = store.path(SHA256)
    path.chmod(0o644)
    path.write_bytes(LOG[:-1] + b"!")
    assert store.check(SHA256) == "altered"
    assert store.keep([LOG]).created is True
    assert store.check(SHA256) == "intact"
    assert path.stat().st_mode & 0o777 == 0o444


def test_a_file_that_is_not_there_is_missing(store: RawStore) -> None:
    assert store.check(SHA256) == "missing"
    with pytest.raises(FileNotFoundError):
        store.open(SHA256)


@pytest.mark.parametrize(
    "name", ["", "../../etc/passwd", SHA256.upper(), SHA256[:-1], SHA256 + "\n", f"../{SHA256}"]
)
def test_only_a_digest_names_a_file(store: RawStore, name: str) -> None:
    for ask in (store.path, store.open, store.check):
        with pytest.raises(ValueError, match="64 lower-case"):
            ask(name)


def test_a_file_beyond_the_limit_is_kept_out(tmp_path: Path) -> None:
    store = RawStore(tmp_path, limit=len(LOG))
    assert store.keep([LOG]).size == len(LOG)
    with pytest.raises(TooLarge, match="27 bytes"):
        store.keep([LOG, b"1"])
    assert left_in_incoming(store) == []


def test_reading_stops_as_soon_as_the_limit_is_passed(tmp_path: Path) -> None:
    taken: list[int] = []

    def endless() -> Iterator[bytes]:
        while True:
            taken.append(1)
            yield bytes(10)

    with pytest.raises(TooLarge):
        RawStore(tmp_path, limit=35).keep(endless())
    assert len(taken) == 4


def test_an_upload_that_breaks_off_leaves_nothing(store: RawStore) -> None:
    def broken() -> Iterator[bytes]:
        yield LOG
        raise ConnectionResetError("gone")

    with pytest.raises(ConnectionResetError):
        store.keep(broken())
    assert left_in_incoming(store) == []
    assert store.check(SHA256) == "missing"


class Recorder:
    """Writes down the calls with the path they act on; raises at the call numbered `failing`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, failing: int | None = None) -> None:
        self.calls: list[tuple[str, Path]] = []
        self.failing = failing
        self._paths: dict[int, Path] = {}
        for name in CALLS:
            monkeypatch.setattr(os, name, self._recorded(name, getattr(os, name)))

    def _recorded(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(target: Any, *rest: Any, **options: Any) -> Any:
            path = self._paths.get(target, Path()) if isinstance(target, int) else Path(target)
            self.calls.append((name, path))
            if len(self.calls) - 1 == self.failing:
                if name == "fdopen":
                    os.close(target)
                raise OSError(5, "planted")
            result = real(target, *rest, **options)
            if name == "open":
                self._paths[result] = path
            return result

        return call

    def places(self, name: str) -> list[Path]:
        return [path for call, path in self.calls if call == name]


def test_the_file_is_synced_before_it_is_renamed_and_the_directories_after(
    store: RawStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    store.keep([LOG])
    names = [name for name, _ in recorder.calls]
    renamed = names.index("replace")
    temporary = recorder.calls[renamed][1]
    assert ("fsync", temporary) in recorder.calls[:renamed]
    after = [path for name, path in recorder.calls[renamed:] if name == "fsync"]
    folder = store.path(SHA256).parent
    assert after == [folder, folder.parent, store.root]


def test_every_new_directory_is_synced_into_the_one_above(
    store: RawStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    store.keep([LOG])
    made = recorder.places("mkdir")
    folder = store.path(SHA256).parent
    assert {store.root.parent, store.root, folder.parent, folder} <= set(made)
    for directory in made:
        at = recorder.calls.index(("mkdir", directory))
        assert ("fsync", directory.parent) in recorder.calls[at:]


def test_a_file_that_was_there_already_is_acknowledged_only_after_its_directories_are_synced(
    store: RawStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.keep([LOG])
    recorder = Recorder(monkeypatch)
    store.keep([LOG])
    folder = store.path(SHA256).parent
    assert recorder.places("fsync")[-3:] == [folder, folder.parent, store.root]


def told_error(store: RawStore) -> OSError | None:
    """What keeping the log raises."""
    try:
        store.keep([LOG])
    except OSError as error:
        return error
    return None


@pytest.mark.parametrize("before", ["missing", "intact", "altered"])
def test_a_failure_of_any_step_is_told_and_leaves_no_part_and_the_next_try_succeeds(
    tmp_path: Path, before: str
) -> None:
    failing, finished = 0, False
    while not finished:
        store = RawStore(tmp_path / f"{before}-{failing}")
        if before != "missing":
            store.keep([LOG])
        if before == "altered":
            store.path(SHA256).chmod(0o644)
            store.path(SHA256).write_bytes(b"damaged")
        with pytest.MonkeyPatch.context() as monkeypatch:
            recorder = Recorder(monkeypatch, failing=failing)
            told = told_error(store)
        finished = told is None
        assert finished == (len(recorder.calls) <= failing)
        assert finished or str(told) == "[Errno 5] planted"
        assert left_in_incoming(store) == []
        if before == "intact":
            assert store.check(SHA256) == "intact"
        assert store.keep([LOG]).sha256 == SHA256
        assert store.check(SHA256) == "intact"
        failing += 1
    assert failing > 10


def test_two_threads_may_keep_the_same_bytes_at_once(store: RawStore) -> None:
    barrier = threading.Barrier(2)
    kept, failures = [], []

    def chunks() -> Iterator[bytes]:
        yield LOG[:7]
        barrier.wait(timeout=30)
        yield LOG[7:]

    def work() -> None:
        try:
            kept.append(store.keep(chunks()))
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert {item.sha256 for item in kept} == {SHA256}
    assert any(item.created for item in kept)
    assert store.check(SHA256) == "intact"
    assert left_in_incoming(store) == []


def test_only_old_parts_are_swept(store: RawStore) -> None:
    store.keep([LOG])
    old, new = (store.root / "incoming" / f"{name}.part" for name in ("old", "new"))
    for part in (old, new):
        part.write_bytes(b"x")
    os.utime(old, (1_000_000, 1_000_000))
    assert store.sweep_incoming(3600.0) == 1
    assert left_in_incoming(store) == [new]
    assert store.check(SHA256) == "intact"


def test_sweeping_a_store_that_does_not_exist_yet_removes_nothing(tmp_path: Path) -> None:
    assert RawStore(tmp_path / "nowhere").sweep_incoming(0.0) == 0
