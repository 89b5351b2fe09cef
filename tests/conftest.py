"""What every test may rely on: its own raw store, a silent bell, roles."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from pytest_django.fixtures import Settings
from pytest_django.plugin import blocking_manager_key
from whitenoise.middleware import WhiteNoiseMiddleware  # type: ignore[import-untyped]

from brickledger.roles import give_role
from comparisons.queries.cohorts import remembered
from measurements import tasks
from measurements.reception import read_arrival
from tests import description

# The kills wait for processes most of the time, so they go first, beside the browser.
LONGEST = (
    "tests/faults/",
    "tests/browser/test_pages.py",
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


@pytest.fixture(autouse=True, scope="session")
def answers_as_described() -> Iterator[None]:
    """Whatever a test asks of the API, the answer is as the API's description says."""
    with pytest.MonkeyPatch.context() as patches:
        ask = Client.request

        def ask_and_check(client: Client, **request: Any) -> Any:
            answer = ask(client, **request)
            path = str(request["PATH_INFO"])
            method = str(request["REQUEST_METHOD"])
            if path.startswith(description.ROOT) and method in ("GET", "POST", "PATCH"):
                description.check(method, path, answer)
            return answer

        patches.setattr(Client, "request", ask_and_check)
        yield


@pytest.fixture(scope="session", autouse=True)
def static_files_found_once() -> Iterator[None]:
    """Look for the static files once, and not with the first request of every test client.

    The site does it once a process too; to the tests it was the largest cost of a request.
    """
    look = WhiteNoiseMiddleware.add_files_from_finders
    found: dict[str, Any] = {}

    def look_once(middleware: WhiteNoiseMiddleware) -> None:
        if not found:
            look(middleware)
            found.update(middleware.files)
        middleware.files.update(found)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", look_once)
        yield


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> Iterator[None]:
    """Put back what migrations wrote, after a test that commits: its end empties every table.

    After the last test the database of the tests is gone, and the one in sight is the site's own.
    """
    yield
    mark = item.get_closest_marker("django_db")
    if nextitem is not None and mark is not None and mark.kwargs.get("transaction"):
        with item.config.stash[blocking_manager_key].unblock():
            kept = connection._test_serialized_contents  # type: ignore[attr-defined]
            connection.creation.deserialize_db_from_string(kept)


@pytest.fixture(autouse=True)
def own_raw_store(tmp_path: Path, settings: Settings) -> Path:
    """Raw files of a test go to its own folder."""
    settings.RAW_DIR = tmp_path / "raw"
    return tmp_path / "raw"


@pytest.fixture(autouse=True)
def no_limits(settings: Settings) -> None:
    """Calls are not counted except by tests of that."""
    settings.RATE_TOKEN = settings.RATE_ADDRESS = 0


@pytest.fixture(autouse=True)
def no_kept_pages(settings: Settings) -> None:
    """Tests write past the actions that tell of a change, so every page is made when asked for."""
    settings.PAGE_SECONDS = 0


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
