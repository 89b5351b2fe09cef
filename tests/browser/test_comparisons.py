"""An editor builds, previews, publishes and revises a table, by keyboard and without scripts."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.test_pages import violations

Visit = Callable[..., Page]

FROZEN = "/comparisons/four-adapters-for-a-large-laptop/"


def adapters_of(page: Page) -> list[str]:
    """The adapters ticked, in their order."""
    return [
        str(box.get_attribute("value")) for box in page.locator("input[name=adapter]:checked").all()
    ]


def press(page: Page, name: str) -> None:
    """Reach a button as the keyboard does and press it; the page comes back."""
    button = page.get_by_role("button", name=name, exact=True)
    button.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_a_table_is_built_and_published_by_keyboard_without_scripts(visit: Visit) -> None:
    page = visit("editor", java_script_enabled=False)
    page.goto("/adapters/northfold-trio-140/")
    page.get_by_role("link", name="Compare with…").click()
    page.get_by_label("Find adapters to add").fill("140")
    press(page, "Find")
    found = page.get_by_role("group", name="Found").get_by_role("checkbox")
    found.first.focus()
    page.keyboard.press("Space")
    page.get_by_label("Title", exact=True).fill("Built by keyboard")
    press(page, "Show the table")
    first, second = adapters_of(page)
    assert first == "northfold-trio-140"

    press(page, "Move Northfold Trio 140 down")
    assert adapters_of(page) == [second, first]
    expect(page.get_by_role("button", name="Move Northfold Trio 140 up")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/comparisons/new/")
    expect(page.get_by_role("button", name="Move Northfold Trio 140 down")).to_be_focused()
    assert adapters_of(page) == [first, second]

    page.get_by_role("textbox", name="Note", exact=True).fill("Twice, with one result.")
    page.get_by_role(
        "checkbox", name=re.compile("^Efficiency over load, 230 V mains, 20 V")
    ).check()
    press(page, "Save the draft")
    draft = page.url
    page.get_by_role("link", name="Preview as readers will see it").click()
    expect(page.get_by_text("A preview: this is what readers will see.")).to_be_visible()
    expect(page.locator("main")).to_contain_text("Twice, with one result.")
    for read in page.get_by_role("checkbox", name=re.compile("^I have read")).all():
        read.check()
    press(page, "Publish: freeze it as it stands")
    assert page.url == draft
    expect(page.get_by_text("Frozen on")).to_be_visible()
    drawing = page.locator("figure img").first
    assert page.request.get(str(drawing.get_attribute("src"))).status == 200

    press(page, "Start a revision")
    assert page.url != draft
    assert adapters_of(page) == [first, second]
    assert page.request.get(draft).status == 200


def test_no_rule_is_broken_while_a_table_is_built_on_a_telephone(visit: Visit) -> None:
    page = visit("editor", color_scheme="dark", viewport={"width": 320, "height": 900})
    page.goto(
        "/comparisons/new/?q=140&adapter=northfold-trio-140"
        "&metric=no-load-power&metric=average-efficiency"
    )
    page.get_by_role("group", name="Found").get_by_role("checkbox").first.check()
    page.get_by_role("textbox", name="Note", exact=True).fill("Twice.")
    page.get_by_role("textbox", name="Heading").first.fill("At home")
    page.get_by_role("button", name="Show the table").click()
    expect(page.get_by_role("heading", name="As it stands now")).to_be_visible()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0


def test_a_copied_table_stands_on_an_empty_page_of_another_site(visit: Visit) -> None:
    page = visit()
    page.goto(f"{FROZEN}embed/")
    snippet = page.locator("#snippet").inner_text()
    address = page.url.removesuffix("embed/")
    page.goto("about:blank")
    page.set_content(f"<!doctype html><title>Elsewhere</title>{snippet}")
    table = page.get_by_role("table", name="Four adapters for a large laptop")
    expect(table.get_by_role("link", name=address)).to_have_attribute("href", address)
    expect(table.get_by_role("columnheader", name="Northfold Trio 140")).to_be_visible()
    expect(table).to_contain_text("Frozen on")
