"""What every test may rely on: its own raw store, a silent bell, roles."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from pytest_django.fixtures import Settings

from brickledger.roles import give_role
from comparisons.queries.cohorts import remembered
from measurements import tasks
from measurements.reception import read_arrival

# The kills wait for processes most of the time, so they go first, beside the browser.
LONGEST = (
    "tests/faults/",
    "tests/browser/",
    "tests/brickledger/test_commands.py",
    "tests/measurements/hostile/",
    "tests/measurements/kinds/ripple/test_memory.py",
    "tests/brickledger/",
)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, so that no worker waits for one in the end."""

    def turn(item: pytest.Item) -> int:
        begins = (number for number, start in enumerate(LONGEST) if item.nodeid.startswith(start))
        return next(begins, len(LONGEST))

    items.sort(key=turn)


@pytest.fixture(autouse=True)
def own_raw_store(tmp_path: Path, settings: Settings) -> Path:
    """Raw files of a test go to its own folder."""
    settings.RAW_DIR = tmp_path / "raw"
    return tmp_path / "raw"


@pytest.fixture(autouse=True)
def quick_passwords(settings: Settings) -> None:
    """Hash passwords cheaply; strength is the framework's to test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def bell(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Runs that were rung for; no broker is touched except by tests that start a worker."""
    rung: list[str] = []

    def note(args: tuple[str], **_: object) -> None:
        rung.append(args[0])

    monkeypatch.setattr(tasks.compute_run, "apply_async", note)
    monkeypatch.setattr(read_arrival, "apply_async", note)
    return rung


@pytest.fixture(autouse=True)
def nothing_remembered() -> None:
    """Tests roll back what they write, ledger stamp included: start from an empty memory."""
    remembered.clear()


@pytest.fixture
def person(db: None) -> Callable[[str], User]:
    """Make a person of a role: ``person("editor")``."""

    def make(role: str) -> User:
        user = User.objects.create_user(username=f"{role}-{User.objects.count()}")
        give_role(user, role)
        return user

    return make


@pytest.fixture
def reviewer(person: Callable[[str], User]) -> User:
    """Someone who uploads runs."""
    return person("reviewer")


@pytest.fixture
def editor(person: Callable[[str], User]) -> User:
    """Someone who accepts runs and publishes tables."""
    return person("editor")
