"""The demonstration site as real processes, and a real Chromium in front of it."""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.faults.processes import Site, own_services
from tests.once import alone, folder_of_all

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
ADAPTERS = 24
MAKING_S = 300.0  # beside the kills on the other core
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder, and skip it where there is no Chromium.

    A machine that is meant to have one says so with BRICKLEDGER_REQUIRE_BROWSER, so that a
    missing browser cannot pass for a passed test.
    """
    here = Path(__file__).parent
    for item in items:
        if here not in item.path.parents:
            continue
        item.add_marker(pytest.mark.browser)
        if not CHROMIUM and not os.environ.get("BRICKLEDGER_REQUIRE_BROWSER"):
            item.add_marker(pytest.mark.skip(reason="this machine has no Chromium"))


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A served demonstration: where it answers, and how its people sign in."""

    address: str
    passwords: dict[str, str]


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demonstration]:
    """A small demonstration, made by the command and served by web server and worker.

    One for all processes that run tests: whoever needs it first makes it, and stops it when
    the last has done with it. Tests must bear what others add to it.
    """
    folder = folder_of_all(tmp_path_factory, "demonstration")
    note = folder / "where.json"
    with (folder / "used").open("a") as used, ExitStack() as stack:
        with alone(folder / "begun"):
            if not note.exists():
                made = stack.enter_context(served(folder))
                note.write_text(json.dumps([made.address, made.passwords]), encoding="utf-8")
                stack.callback(put_away, note, used)
            fcntl.flock(used, fcntl.LOCK_SH)
        yield Demonstration(*json.loads(note.read_text(encoding="utf-8")))


def put_away(note: Path, used: IO[str]) -> None:
    """Let nobody else begin with the demonstration, and wait for those who have begun."""
    with alone(note.with_name("begun")):
        note.unlink()
        fcntl.flock(used, fcntl.LOCK_EX)


@contextmanager
def served(folder: Path) -> Iterator[Demonstration]:
    """The demonstration from nothing, answering until the end of the block."""
    data = tempfile.mkdtemp(prefix="data-", dir=folder)
    with own_services(Path(data)) as environment:
        site = Site(environment, log=folder / "site.log")
        site.start_broker()
        made = site.manage("demo", "--no-serve", "--adapters", str(ADAPTERS), within_s=MAKING_S)
        if made.returncode != 0:
            site.kill_broker()
            raise AssertionError(made.stderr)
        accounts = re.findall(r"^\s*(reader|reviewer|editor)\s+password (\S+)", made.stdout, re.M)
        site.start()
        try:
            site.wait_until_it_answers()
            yield Demonstration(site.address, dict(accounts))
        finally:
            site.stop()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The machine's own Chromium.

    For one file of tests only: as long as it lives an event loop runs in this thread, and
    whatever test comes next here could not use the database.
    """
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=CHROMIUM, headless=True, args=ARGUMENTS
        )
        yield chromium
        chromium.close()


def signed_in(page: Page, site: Demonstration, role: str) -> Page:
    """The window, once somebody of that role has signed in there."""
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(role)
    page.get_by_label("Password").fill(site.passwords[role])
    page.locator("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    return page


@pytest.fixture
def visit(browser: Browser, demonstration: Demonstration) -> Iterator[Callable[..., Page]]:
    """Open a fresh window, signed in as a role if one is named.

    Whatever a page says on its console as an error, and every request to another host, fails
    the test; with `refused`, a form that is meant to be refused may answer 400.
    """
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_window(role: str = "", *, refused: bool = False, **options: Any) -> Page:
        options.setdefault("viewport", {"width": 1440, "height": 900})
        context = browser.new_context(base_url=demonstration.address, **options)
        contexts.append(context)
        page = context.new_page()
        page.on(
            "console",
            lambda message: (
                None
                if message.type != "error" or (refused and "status of 400" in message.text)
                else complaints.append(message.text)
            ),
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith((demonstration.address, "data:"))
                else complaints.append(f"a request left the site: {request.url}")
            ),
        )
        return signed_in(page, demonstration, role) if role else page

    yield open_window
    for context in contexts:
        context.close()
    assert complaints == []
