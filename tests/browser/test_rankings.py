"""Reading a ranking and drawing two metrics, in a real browser."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_pages import violations

Visit = Callable[..., Page]


def test_a_reader_follows_a_ranking_to_its_changes_its_permalink_and_back(visit: Visit) -> None:
    page = visit(java_script_enabled=False)
    page.goto("/rankings/no-load-power/")
    page.get_by_label("Changes since").fill("2026-01-01")
    page.get_by_role("button", name="Apply").click()
    changes = page.get_by_role("region", name="Table of changes")
    expect(changes.get_by_role("rowheader", name="New adapters")).to_be_visible()
    rows = page.get_by_role("region", name="Ranking").get_by_role("row")
    leader = rows.nth(1).inner_text()
    page.get_by_role("link", name="This view as of").click()
    assert "as_of=" in page.url
    assert rows.nth(1).inner_text() == leader
    page.get_by_text("not tested under this condition").click()
    page.get_by_role("link", name="The current ranking").click()
    assert "as_of" not in page.url
    assert rows.nth(1).inner_text() == leader


def test_two_metrics_are_chosen_by_a_form_and_drawn_with_their_front(visit: Visit) -> None:
    page = visit(viewport={"width": 390, "height": 844}, color_scheme="dark")
    page.goto("/rankings/average-efficiency/")
    page.get_by_role("link", name="Drawn against another metric").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "Power density against average efficiency"
    )
    page.get_by_label("Across", exact=True).select_option("Standby power")
    page.get_by_role("button", name="Apply").click()
    drawing = page.get_by_role("img", name="beaten by none")
    expect(drawing).to_be_visible()
    front = page.get_by_role("region", name="The front").get_by_role("row")
    assert front.count() - 1 == drawing.locator(".front").count() >= 1
    # The best of the front across stands farther left than any dot: less standby is better.
    box = drawing.locator(".front").first.bounding_box()
    dots = drawing.locator(".dots").bounding_box()
    assert box is not None
    assert dots is not None
    assert box["x"] <= dots["x"]


@pytest.mark.parametrize(
    "path",
    ["/rankings/no-load-power/?since=2026-01-01", "/rankings/pair/?x=no-load-power&y=ripple"],
)
def test_changes_and_mistakes_break_no_accessibility_rule(visit: Visit, path: str) -> None:
    page = visit(refused=True, viewport={"width": 320, "height": 700})
    page.goto(path)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
