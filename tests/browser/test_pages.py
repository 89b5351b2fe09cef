"""Every page as people meet it: accessible by rule, whole at every width, marked as invented."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

Visit = Callable[..., Page]

READING = (
    "/",
    "/adapters/",
    "/adapters/northfold-trio-140/",
    "/rankings/",
    "/rankings/no-load-power/",
    "/rankings/average-efficiency/?power_min=60",
    "/comparisons/",
    "/comparisons/four-adapters-for-a-large-laptop/",
    "/runs/",
    "/instruments/",
    "/tables/",
    "/devices/",
    "/charges/",
    "/methods/",
    "/methods/efficiency/",
    "/methods/charge/",
    "/cautions/",
    "/decode/",
    "/decode/?words=0x0881912C+0x0002D12C+0xE007D1F4+0xC9A42164+0x4641912C&rated_power_w=65",
    "/sign-in/",
)
WORKING = (
    "/adapters/new/",
    "/adapters/northfold-trio-140/edit/",
    "/adapters/northfold-trio-140/plan/",
    "/devices/new/",
    "/runs/new/package/",
    "/runs/new/",
    "/runs/new/?adapter=northfold-trio-140&kind=thermal",
    "/runs/new/names/",
    "/runs/new/maps/",
    "/runs/arrivals/",
    "/tables/new/",
    "/instruments/new/",
    "/comparisons/new/",
)
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    # Of rules that are kept, one element is enough: writing up every one took half the time.
    "resultTypes": ["violations"],
}


def newest_run_of(page: Page, adapter: str) -> str:
    """The address of an accepted run of that adapter."""
    runs = page.request.get(f"/api/v1/runs/?adapter={adapter}&limit=1").json()["results"]
    return f"/runs/{runs[0]['id']}/"


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong, one line a rule."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{item['id']}: {item['nodes'][0]['html'][:200]}" for item in found]


@pytest.mark.parametrize(
    ("role", "width", "scheme", "paths"),
    [
        ("", 320, "light", READING),
        ("", 1280, "dark", READING),
        ("editor", 320, "dark", (*READING[:-1], *WORKING)),
        ("editor", 1280, "light", (*READING[:-1], *WORKING)),
    ],
)
def test_no_accessibility_rule_is_broken_and_nothing_runs_off_the_page(
    visit: Visit, role: str, width: int, scheme: str, paths: tuple[str, ...]
) -> None:
    page = visit(role, color_scheme=scheme, viewport={"width": width, "height": 900})
    broken: dict[str, list[str]] = {}
    for path in (*paths, newest_run_of(page, "northfold-trio-140")):
        answer = page.goto(path)
        assert answer is not None
        assert answer.status == 200, path
        found = violations(page)
        overflow = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if overflow > 0:
            found.append(f"the page is {overflow} px wider than the window")
        if found:
            broken[path] = found
    assert broken == {}


@pytest.mark.parametrize("path", READING)
def test_a_reading_page_is_whole_without_scripts_and_says_that_its_data_are_invented(
    visit: Visit, path: str
) -> None:
    page = visit(java_script_enabled=False)
    page.goto(path)
    assert "invented" in page.get_by_role("complementary").first.inner_text().lower()
    assert page.get_by_role("heading", level=1).count() == 1
    assert page.locator("main").inner_text().strip()


def test_an_error_page_says_so_and_leads_back(visit: Visit, demonstration: object) -> None:
    page = visit()
    answer = page.request.get("/adapters/nobody-makes-this/")
    assert answer.status == 404
    assert "invented" in answer.text().lower()
