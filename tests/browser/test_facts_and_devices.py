"""Fact sheets and device pages as people meet them: without scripts, by rule, and copied."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_pages import violations

Visit = Callable[..., Page]

SHEET = "/adapters/northfold-trio-140/facts/"
TABLE = "/comparisons/four-adapters-for-a-large-laptop/facts/"
DEVICE = "/devices/hayrick-light-laptop/"


@pytest.mark.parametrize(
    ("width", "scheme", "paths"),
    [(320, "dark", (SHEET, DEVICE)), (1280, "light", (TABLE, f"{DEVICE}?colour=red"))],
)
def test_no_rule_is_broken_and_nothing_runs_off_the_page(
    visit: Visit, width: int, scheme: str, paths: tuple[str, ...]
) -> None:
    page = visit(color_scheme=scheme, viewport={"width": width, "height": 900}, refused=True)
    broken: dict[str, list[str]] = {}
    for path in paths:
        page.goto(path)
        found = violations(page)
        overflow = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if overflow > 0:
            found.append(f"the page is {overflow} px wider than the window")
        if found:
            broken[path] = found
    assert broken == {}


def test_without_scripts_a_sheet_is_read_whole_and_taken_away_as_a_file(visit: Visit) -> None:
    page = visit(java_script_enabled=False)
    page.goto(SHEET)
    titles = page.locator("main h2").all_inner_texts()
    assert titles[:3] == ["Identity and size", "Profiles", "Standby"]
    assert titles[-2:] == ["Cautions", "To copy"]
    expect(page.locator("main")).to_contain_text("cannot be decided: the limit lies within U")
    assert page.get_by_role("button", name="Copy as text").count() == 0
    with page.expect_download() as waited:
        page.get_by_role("link", name="Text", exact=True).click()
    assert waited.value.suggested_filename == "northfold-trio-140-facts.txt"
    text = waited.value.path().read_text(encoding="utf-8")
    assert "With nothing connected it draws 0.2124 ± 0.0035 W at 230 V mains." in text
    assert f"{page.url}\n" in text


def test_a_sheet_is_copied_as_markdown(visit: Visit) -> None:
    page = visit(permissions=["clipboard-read", "clipboard-write"])
    page.goto(SHEET)
    button = page.get_by_role("button", name="Copy as Markdown")
    button.click()
    expect(page.get_by_role("button", name="Copied")).to_be_visible()
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied == page.request.get(SHEET.rstrip("/") + ".md").text()
    assert copied.startswith("# Facts on Northfold Trio 140\n")


def test_without_scripts_a_device_answers_and_leads_to_the_curves(visit: Visit) -> None:
    page = visit(java_script_enabled=False)
    page.goto("/devices/")
    page.get_by_role("link", name="Hayrick light laptop").click()
    expect(page.locator("main")).to_contain_text("give it at least 90\u00a0% of that:")
    expect(page.locator("main")).to_contain_text("By volume the smallest of them is")
    page.get_by_label("Speed", exact=True).select_option("full")
    page.get_by_label("Order", exact=True).select_option("volume")
    page.get_by_role("button", name="Apply").click()
    page.wait_for_url("**speed=full**")
    words = page.locator("table.trials tbody td:nth-child(4)").all_inner_texts()
    assert words
    assert {word.split()[1].rstrip(",") for word in words} == {"full"}
    boxes = page.get_by_role("checkbox")
    boxes.nth(0).check()
    boxes.nth(1).check()
    page.get_by_role("button", name="Lay the chosen curves").click()
    page.wait_for_url("**/charges/hayrick-light-laptop/?*")
    assert page.url.count("adapter=") == 2
    expect(page.get_by_role("heading", name="Against the reference")).to_be_visible()
