"""Finding an adapter and reading about it: by keyboard, by filter, without scripts, by rule."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_pages import violations

Visit = Callable[..., Page]

PAGES = (
    "/search/?q=power",
    "/search/?q=nothing+like+it",
    "/adapters/?profile_v=28&year_min=2023&connector=usb-c",
    "/adapters/northfold-trio-140/beside/larchwicket-plinth-140/",
    "/methods/glossary/",
)


def test_search_and_filters_work_by_keyboard_alone(visit: Visit) -> None:
    page = visit()
    page.goto("/methods/")
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "site-search":
            break
    page.keyboard.type("TRIO-140")
    page.keyboard.press("Enter")
    page.wait_for_url("**/search/?q=TRIO-140")
    first = page.get_by_role("region", name="Adapters").get_by_role("link").first
    expect(first).to_have_text("Northfold Trio 140")
    first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Northfold Trio 140")

    page.goto("/adapters/")
    page.get_by_label("Advertises, V").focus()
    page.keyboard.type("28 V")
    page.keyboard.press("Enter")
    page.wait_for_url("**profile_v=28+V**")
    expect(page.get_by_role("table")).to_contain_text("Northfold Trio 140")
    expect(page.locator("main")).to_contain_text("advertising 28 V")
    more = page.get_by_text("More filters")
    more.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("Enclosure")).to_be_visible()


def test_an_adapter_reads_whole_without_scripts(visit: Visit) -> None:
    page = visit(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page.goto("/search/?q=trio")
    page.get_by_role("link", name="Northfold Trio 140").click()
    main = page.locator("main")
    for words in ("The highest comparable power of its", "Of ", "Tested by 8 of 8 methods"):
        expect(main).to_contain_text(words)
    page.get_by_role("navigation", name="On this page").get_by_role(
        "link", name="Similar adapters"
    ).click()
    expect(page).to_have_url("/adapters/northfold-trio-140/#similar")
    page.get_by_role("link", name="Side by side").first.click()
    expect(main).to_contain_text("stand for both under the same condition")
    page.goto("/methods/efficiency/")
    # A formula is drawn by the browser itself, and its plain text stands below.
    formula = page.get_by_role("group", name="Formula of average efficiency")
    fraction = formula.locator("mfrac").first.bounding_box()
    assert fraction is not None
    assert fraction["height"] > 20
    expect(main).to_contain_text("(η25 + η50 + η75 + η100) / 4")


@pytest.mark.parametrize(("width", "scheme"), [(320, "dark"), (1280, "light")])
def test_no_rule_is_broken_and_nothing_runs_off_the_page(
    visit: Visit, width: int, scheme: str
) -> None:
    page = visit(viewport={"width": width, "height": 900}, color_scheme=scheme)
    for path in PAGES:
        page.goto(path)
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
