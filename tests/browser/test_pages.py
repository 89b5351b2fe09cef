"""Every page as people meet it: accessible by rule, whole at every width, marked as invented."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.every_page import (
    READING,
    SIGNED_OUT,
    forgotten,
    furnish,
    reading_pages,
    working_pages,
)

Visit = Callable[..., Page]

RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    # Of rules that are kept, one element is enough: writing up every one took half the time.
    "resultTypes": ["violations"],
}

LOOKS = (
    ("", 320, "light"),
    ("", 1280, "dark"),
    ("editor", 320, "dark"),
    ("editor", 1280, "light"),
)


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong, one line a rule."""
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{item['id']}: {item['nodes'][0]['html'][:200]}" for item in found]


@pytest.mark.parametrize(("role", "width", "scheme"), LOOKS)
def test_no_accessibility_rule_is_broken_and_nothing_runs_off_the_page(
    visit: Visit, role: str, width: int, scheme: str
) -> None:
    page = visit(role, color_scheme=scheme, viewport={"width": width, "height": 900})
    if role:
        furnish(page)
    addresses = [*reading_pages(page), *(working_pages(page) if role else [SIGNED_OUT])]
    broken: dict[str, list[str]] = {}
    for path in addresses:
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


def test_no_page_of_the_site_is_forgotten_here(visit: Visit) -> None:
    page = visit("editor")
    furnish(page)
    assert forgotten([*reading_pages(page), *working_pages(page), SIGNED_OUT]) == set()


@pytest.mark.parametrize("path", [*READING, SIGNED_OUT])
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
