"""Charts by mouse, key and touch, and the same without scripts."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Locator, Page, expect

from measurements.charts.look import PALETTES
from tests.browser.test_pages import violations

Visit = Callable[..., Page]


def open_run(page: Page) -> str:
    """Open the newest thermal run; its address."""
    page.goto("/runs/?kind=thermal")
    run = next(
        path
        for link in page.locator("main a").all()
        if re.fullmatch(r"/runs/[0-9a-f-]{36}/", path := link.get_attribute("href") or "")
    )
    page.goto(run)
    return run


def crosshair(page: Page) -> Locator:
    return page.get_by_role("slider")


def stretch(page: Page) -> tuple[float, float]:
    page.wait_for_url(lambda url: "from=" in url)
    asked = parse_qs(urlsplit(page.url).query)
    return float(asked["from"][0]), float(asked["to"][0])


def drawing(page: Page) -> str:
    """The SVG on the screen, once it is that of the page's address."""
    asked = parse_qs(urlsplit(page.url).query)
    image = page.locator(".chart img")
    for _ in range(100):
        source = str(image.evaluate("image => image.complete ? image.currentSrc : ''"))
        said = parse_qs(urlsplit(source).query)
        if source and all(said.get(name) == asked.get(name) for name in ("from", "to", "hide")):
            # As the browser has it already: the server need not draw it again.
            return str(page.evaluate("source => fetch(source).then((one) => one.text())", source))
        page.wait_for_timeout(50)
    raise AssertionError(f"the drawing is not that of {page.url}")


def drawn_stretch(page: Page) -> list[float]:
    """What the drawing that is shown says of its x axis."""
    found = re.search(r'data-x="([^"]*)"', drawing(page))
    assert found is not None
    return [float(word) for word in found[1].split()]


def plot_box(page: Page) -> tuple[float, float, float, float]:
    """Left, top, width and height of the plot on the screen."""
    told = re.search(r'viewBox="0 0 (\S+) \S+".* data-plot="([^"]*)"', drawing(page))
    frame = page.locator(".chart img").bounding_box()
    assert told is not None
    assert frame is not None
    scale = frame["width"] / float(told[1])
    left, top, width, height = (float(word) * scale for word in told[2].split())
    return frame["x"] + left, frame["y"] + top, width, height


def test_arrow_keys_read_the_numbers_of_the_file(visit: Visit) -> None:
    page = visit()
    run = open_run(page)
    heading, *rows = csv.reader(page.request.get(f"{run}trace.csv").text().splitlines())
    crosshair(page).focus()
    for key in ("Home", "ArrowRight", "ArrowRight", "ArrowLeft", "PageUp"):
        page.keyboard.press(key)
    expect(page.locator(".chart-reading")).to_be_visible()
    page.wait_for_function("document.querySelector('[role=slider]').ariaValueNow > 0")
    at = float(crosshair(page).get_attribute("aria-valuenow") or "nan")
    row = next(row for row in rows if float(row[0]) == at)
    # Two steps on, one back, and a tenth of the record.
    assert rows.index(row) == 1 + round((len(rows) - 1) / 10)
    said = crosshair(page).get_attribute("aria-valuetext") or ""
    assert said.startswith(f"Time {at:.5g} min; ")
    read = dict(re.findall(r"([^;:]+): ([\d.-]+) °C", said))
    hides = {
        box.get_attribute("value"): box.locator("xpath=..").text_content()
        for box in page.locator("input[name=hide]").all()
    }
    assert len(hides) >= 3
    for column, label in hides.items():
        number = float(row[heading.index(str(column))])
        assert float(read[f" {label}"]) == pytest.approx(number, rel=5e-5)
    shown = page.locator(".chart-reading p").all_inner_texts()
    assert "; ".join(shown) == said
    page.keyboard.press("Escape")
    expect(page.locator(".chart-reading")).to_be_hidden()


def test_closer_wider_and_a_drag_change_address_and_drawing_and_nothing_moves(
    visit: Visit,
) -> None:
    page = visit(reduced_motion="reduce")
    open_run(page)
    low, high = drawn_stretch(page)
    before = page.locator(".chart").bounding_box()
    page.get_by_role("link", name="Closer").click()
    start, stop = stretch(page)
    assert (start, stop) == pytest.approx((low + (high - low) / 4, high - (high - low) / 4))
    assert drawn_stretch(page) == [start, stop]
    expect(page.locator("[data-stretch]")).to_have_text(
        f"{start:g} to {stop:g} of 0 to {high:g} min"
    )
    assert (
        page.locator(".chart-downloads a")
        .first.get_attribute("href")
        .endswith(  # type: ignore[union-attr]
            f"from={start:g}&to={stop:g}"
        )
    )
    page.get_by_role("link", name="Wider").click()
    page.wait_for_url(lambda url: "from=" not in url)
    assert drawn_stretch(page) == [low, high]

    crosshair(page).hover()
    expect(page.locator(".chart-reading")).to_be_visible()
    left, top, width, height = plot_box(page)
    page.mouse.move(left + width / 5, top + height / 2)
    page.mouse.down()
    page.mouse.move(left + width / 2, top + height / 2, steps=3)
    page.mouse.up()
    start, stop = stretch(page)
    span = high - low
    assert (start, stop) == pytest.approx((low + span / 5, low + span / 2), abs=span / 100)
    assert drawn_stretch(page) == [start, stop]
    page.get_by_role("link", name="Whole").click()
    page.wait_for_url(lambda url: "from=" not in url)
    assert drawn_stretch(page) == [low, high]
    assert page.locator(".chart").bounding_box() == before
    # A page that is asked for again shows what its address says.
    page.get_by_role("link", name="Closer").click()
    kept = stretch(page)
    page.reload()
    assert drawn_stretch(page) == [*kept]


def test_a_line_is_left_out_at_once_and_a_finger_reads_on_a_telephone(visit: Visit) -> None:
    page = visit(viewport={"width": 390, "height": 844}, has_touch=True, color_scheme="dark")
    open_run(page)
    page.locator(".chart-choice summary").click()
    box = page.get_by_role("checkbox").first
    label = box.locator("xpath=..").inner_text()
    box.check()
    page.wait_for_url("**?hide=*")
    assert parse_qs(urlsplit(page.url).query) == {"hide": [box.get_attribute("value")]}
    expect(page.locator("[data-stretch]")).to_contain_text(f"without {label}")
    svg = drawing(page)
    assert PALETTES["dark"].paper in svg
    assert f">{label}<" not in svg
    page.locator(".chart img").scroll_into_view_if_needed()
    left, top, width, height = plot_box(page)
    page.touchscreen.tap(left + width / 2, top + height / 2)
    expect(page.locator(".chart-reading")).to_contain_text("°C")
    assert f"{label}:" not in page.locator(".chart-reading").inner_text()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0


def test_without_scripts_the_form_does_the_same(visit: Visit) -> None:
    page = visit(java_script_enabled=False, refused=True)
    page.goto("/charges/hayrick-light-laptop/")
    for number in range(2):
        page.get_by_role("group", name="Adapters").get_by_role("checkbox").nth(number).check()
    page.get_by_role("button", name="Draw").click()
    laid = parse_qs(urlsplit(page.url).query)["adapter"]
    page.locator(".chart-choice summary").click()
    page.get_by_label("From").fill("10")
    page.get_by_label("To", exact=True).fill("30")
    page.locator(".chart-choice").get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Show").click()
    asked = parse_qs(urlsplit(page.url).query)
    assert (asked["adapter"], asked["from"], asked["to"]) == (laid, ["10"], ["30"])
    assert asked["hide"] == ["curve_0"]
    assert drawn_stretch(page) == [10, 30]
    page.get_by_role("link", name="Closer").click()
    assert drawn_stretch(page) == [15, 25]
    page.get_by_label("From").fill("26")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_role("alert")).to_contain_text("26 is not less than 25")
    assert page.get_by_role("heading", name="Against the reference").count() == 1
