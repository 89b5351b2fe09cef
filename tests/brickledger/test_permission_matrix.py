"""Everybody asks for everything, and comes to what the table says and to nothing else."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable, Iterator, Mapping

import pytest
from django.contrib import admin
from pytest_django.fixtures import Settings

from tests.brickledger.permission_matrix import (
    ADMIN_EDITORS,
    ADMIN_NOBODY,
    ADMIN_SITE,
    API,
    DENIED,
    HIDDEN,
    METHODS,
    OPTIONS_OF_THE_API,
    PAGES,
    PEOPLE,
    table,
)
from tests.brickledger.permission_world import ELSEWHERE, Caller, World, make_world, routes

pytestmark = pytest.mark.django_db

API_ROOT, ADMIN_ROOT = "api/v1/", "admin/"
SITE = table([*PAGES, *API])
DRAWINGS = (
    "measurements.views.files.trace_svg",
    "comparisons.views.charges.overlay_svg",
    "measurements.views.drawings.png_of",
)
PROGRAMS_ASK = ("GET", "POST", "PATCH")
"""The methods that the API has; what it has not is asked by browsers."""


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Thousands of refusals are no news for a log, and writing them takes longer than asking."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


@pytest.fixture
def world(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> World:
    """A site of its own, without limits on calls; drawings take long and are not looked at."""
    settings.RATE_TOKEN = settings.RATE_ADDRESS = 0
    for name in DRAWINGS:
        monkeypatch.setattr(name, lambda *_, **__: "<svg/>")
    return make_world()


def of_site(pattern: str) -> bool:
    return not pattern.startswith(ADMIN_ROOT)


def expected(rows: Mapping[str, str], method: str, caller: Caller, *, is_api: bool) -> str:
    """The letters that are right for a caller; all of the denials where nothing stands."""
    if method == "OPTIONS" and is_api and method not in rows:
        return OPTIONS_OF_THE_API[PEOPLE.index(caller.role)]
    if method not in rows:
        return "".join(sorted(DENIED))
    return rows[method][PEOPLE.index(caller.role)]


def departures(
    world: World,
    rows: Mapping[str, Mapping[str, str]],
    *,
    methods: Iterable[str] = (),
    hidden: str = "",
) -> list[str]:
    """Where an answer is not of the table, one sentence each; by default to what it names."""
    found = []
    for pattern, row in rows.items():
        is_api = pattern.startswith(API_ROOT)
        address = world.address(pattern, hidden=hidden)
        for method in methods or set(row) - {"HEAD"}:
            callers = list(world.browsers)
            if is_api and method in PROGRAMS_ASK:
                callers += world.programs
            for caller in callers:
                right = expected(row, method, caller, is_api=is_api)
                came = caller.outcome(method, address)
                if came not in right:
                    found.append(f"{method} {pattern} as {caller.who}: {came}, not {right}")
    return found


def told(found: list[str]) -> str:
    """Every departure, one a line."""
    return "\n".join(["", *found])


def test_every_address_of_the_site_stands_in_the_table_and_no_other() -> None:
    assert {pattern for pattern in routes() if of_site(pattern)} == set(SITE)


def test_pages_let_in_whom_the_table_names(world: World) -> None:
    pages = {pattern: row for pattern, row in SITE.items() if not pattern.startswith(API_ROOT)}
    found = departures(world, pages, methods=METHODS)
    assert not found, told(found)


def test_the_api_lets_in_whom_the_table_names(world: World) -> None:
    calls = {pattern: row for pattern, row in SITE.items() if pattern.startswith(API_ROOT)}
    found = departures(world, calls, methods=METHODS)
    assert not found, told(found)


def test_what_is_not_public_is_not_found_by_whom_it_does_not_concern(world: World) -> None:
    found = []
    for hidden, groups in HIDDEN.items():
        rows = table(groups)
        concerned = {
            pattern
            for pattern in SITE
            if world.address(pattern, hidden=hidden) != world.address(pattern)
        }
        if "rejected" not in hidden:
            assert set(rows) | {"runs/<uuid:run_id>/problems.csv"} >= concerned
        found += [f"{hidden}: {said}" for said in departures(world, rows, hidden=hidden)]
    assert not found, told(found)


def admin_right(pattern: str, caller: Caller) -> str:
    """What a caller comes to at a page of a table."""
    found = re.match(r"admin/(\w+/\w+)/(?:<(?:path:object_)?id>/)?(\w*)", pattern)
    assert found is not None, f"{pattern} is of a shape that is not known here"
    if caller.role not in ("editor", "superuser"):
        return "S"
    if pattern.endswith("<path:object_id>/"):
        return "O"  # leads on to the page for changes
    needed = dict.fromkeys(("", "history", "password"), "change").get(found[2], found[2])
    if caller.role == "editor":
        return "O" if needed in ADMIN_EDITORS.get(found[1], "").split() else "F"
    return "F" if needed in ADMIN_NOBODY.get(found[1], "").split() else "O"


def test_the_admin_pages_let_in_whom_the_table_names(world: World) -> None:
    site = table(ADMIN_SITE)
    patterns = [pattern for pattern in routes() if not of_site(pattern)]
    assert set(site) <= set(patterns)
    found = []
    for pattern in patterns:
        address = world.address(pattern)
        for caller in world.browsers:
            for method in site.get(pattern, {"GET": "", "POST": ""}):
                if pattern in site:
                    right = site[pattern][method][PEOPLE.index(caller.role)]
                elif method == "POST" and caller.role in ("editor", "superuser"):
                    continue  # the same check stands before both methods
                else:
                    right = admin_right(pattern, caller)
                came = caller.outcome(method, address)
                if came != right:
                    found.append(f"{method} {pattern} as {caller.who}: {came}, not {right}")
    assert not found, told(found)


def test_every_table_of_the_admin_pages_that_is_named_is_there() -> None:
    there = {f"{model._meta.app_label}/{model._meta.model_name}" for model in admin.site._registry}
    assert set(ADMIN_EDITORS) | set(ADMIN_NOBODY) <= there


def test_an_address_that_nobody_wrote_down_is_denied_to_everybody(world: World) -> None:
    """The table itself: a method that is open without being named is a departure."""
    silent: dict[str, dict[str, str]] = {
        "api/v1/adapters/": {},
        "adapters/": {},
        "account/tokens/": {},
    }

    found = departures(world, silent, methods=("GET",))

    assert "GET adapters/ as anonymous: O, not FMNS" in found
    assert "GET api/v1/adapters/ as reader token of superuser: O, not FMNS" in found
    assert not any(said.startswith("GET account/tokens/ as anonymous") for said in found)
    assert ELSEWHERE in SITE
