"""The main job, walked by its people in a real browser: file, run, place, published table."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.factories.measurements import no_load_log

Visit = Callable[..., Page]

WATCHING_MS = 30_000


def write_down_adapter(page: Page, name: str) -> None:
    """Enter a new adapter of an invented maker through the page."""
    page.goto("/adapters/new/")
    page.get_by_role("textbox", name="Maker").fill("Walkthrough Works")
    page.get_by_role("textbox", name="Name", exact=True).fill(name)
    page.get_by_label("Rated power, W").first.fill("65")
    page.get_by_label("Label of port row 1").fill("C1")
    page.get_by_label("Connector of port row 1").select_option("usb-c")
    page.locator("main").get_by_role("button").last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(name)


def send(page: Page, name: str, content: bytes) -> None:
    """Choose a file on the page that takes files, and send it."""
    page.get_by_label("Files", exact=True).set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": content}
    )
    page.get_by_role("button", name="Read them").click()
    page.wait_for_url("**/runs/arrivals/**")


def hand_in_standby_log(page: Page, adapter: str, power_w: float) -> None:
    """Upload a standby record and stay on its pages until it is ready, without reloading."""
    page.goto("/runs/new/")
    page.get_by_label("Adapter", exact=True).select_option(label=adapter)
    send(page, "standby.csv", no_load_log(power_w))
    # The kind was recognised, and the page follows the reading by itself.
    expect(page.get_by_label("Kind", exact=True)).to_have_value("no-load", timeout=WATCHING_MS)
    page.get_by_label("Mains voltage, V").fill("230")
    page.get_by_label("Mains frequency, Hz").fill("50")
    page.get_by_label("Ambient temperature, °C").fill("23")
    page.get_by_role("checkbox", name=re.compile("power", re.I)).first.check()
    page.get_by_role("button", name="Look at what comes of it").click()
    would_be = page.get_by_role("region", name="Values that would result")
    expect(would_be).to_contain_text(f"{power_w:.4f}", timeout=WATCHING_MS)
    page.get_by_role("button", name="Hand in").click()
    expect(page).to_have_url(re.compile(r"/runs/[0-9a-f-]{36}/$"))
    expect(page.get_by_role("heading", name="Values", exact=True)).to_be_visible(
        timeout=WATCHING_MS
    )


def test_a_file_becomes_a_place_and_a_published_table(visit: Visit) -> None:
    reviewer = visit("reviewer")
    write_down_adapter(reviewer, "Solo 65")
    hand_in_standby_log(reviewer, "Walkthrough Works Solo 65", 0.0345)
    expect(reviewer.get_by_text("Provisional: readers see nothing of this run")).to_be_visible()
    assert reviewer.get_by_role("button", name="Accept this run").count() == 0
    run_address = reviewer.url

    reader = visit()
    assert reader.request.get(run_address).status == 404
    reader.goto("/rankings/no-load-power/")
    assert reader.get_by_role("link", name="Walkthrough Works Solo 65").count() == 0

    editor = visit("editor")
    editor.goto(run_address)
    editor.get_by_role("button", name="Accept this run").click()
    expect(editor.get_by_text(re.compile("ready, accepted"))).to_be_visible()

    reader.goto("/rankings/")
    reader.get_by_role("link", name=re.compile("^Standby power")).first.click()
    row = reader.get_by_role("row").filter(has_text="Walkthrough Works Solo 65")
    expect(row).to_contain_text("0.0345")
    row.get_by_role("link", name="Walkthrough Works Solo 65").click()
    expect(reader.get_by_role("heading", level=1)).to_contain_text("Solo 65")
    expect(reader.locator("main")).to_contain_text("Better than")
    expect(reader.locator("main")).to_contain_text("0.0345")

    editor.goto("/comparisons/new/")
    editor.get_by_label("Title", exact=True).fill("Two for a desk")
    for name in ("Walkthrough Works Solo 65", "Northfold Trio 140"):
        editor.get_by_label("Find", exact=False).first.fill(name)
        editor.get_by_role("button", name="Find").click()
        editor.get_by_role("checkbox", name=re.compile(name)).check()
    editor.get_by_role("checkbox", name="Standby power").check()
    editor.get_by_role("button", name="Show the table").click()
    expect(editor.get_by_role("table").last).to_contain_text("0.0345")
    editor.get_by_role("button", name="Save the draft").click()
    draft_address = editor.url
    assert reader.request.get(draft_address).status == 404
    for read in editor.get_by_role("checkbox", name=re.compile("^I have read")).all():
        read.check()
    editor.get_by_role("button", name=re.compile("^Publish")).click()
    expect(editor.get_by_text("Frozen on")).to_be_visible()

    reader.goto(editor.url)
    table = reader.get_by_role("table").first
    expect(table).to_contain_text("0.0345")
    expect(table).to_contain_text("best")
    expect(reader.get_by_text("SHA-256 of the table")).to_be_visible()
    answer = reader.request.get(reader.get_by_role("link", name="CSV").get_attribute("href") or "")
    assert answer.status == 200
    rows = list(csv.DictReader(io.StringIO(answer.text())))
    mine = [row for row in rows if row["adapter"] == "walkthrough-works-solo-65"]
    standby = next(row for row in mine if row["metric"] == "no-load-power")
    assert float(standby["value"]) == pytest.approx(0.0345, abs=1e-5)
    assert standby["best"]


def test_a_bad_cell_is_named_before_anything_is_handed_in(visit: Visit) -> None:
    page = visit("reviewer")
    page.goto("/runs/new/?adapter=northfold-trio-140&kind=no-load&mains_v=230")
    send(page, "broken.csv", b"time_s,input_power_w\n0,0.2\n1,n/a\n2,0.2\n")
    expect(page.get_by_text("1 problem in the file.")).to_be_visible(timeout=WATCHING_MS)
    problem = page.get_by_role("region", name="Problems").get_by_role("row").filter(has_text="n/a")
    expect(problem).to_contain_text("3")
    expect(problem).to_contain_text("input_power_w")
    answer = page.request.get(
        page.get_by_role("link", name="All of them as CSV").get_attribute("href") or ""
    )
    assert "input_power_w" in answer.text()
    assert page.get_by_role("button", name="Hand in").count() == 0


def test_a_mains_voltage_between_the_ranges_is_refused_at_its_field(visit: Visit) -> None:
    page = visit("reviewer", refused=True)
    page.goto("/runs/new/?adapter=northfold-trio-140&kind=no-load")
    send(page, "between.csv", no_load_log(0.2))
    page.get_by_label("Mains voltage, V").fill("150", timeout=WATCHING_MS)
    with page.expect_response(lambda answer: answer.request.method == "POST") as answer:
        page.get_by_role("button", name="Look at what comes of it").click()
    assert answer.value.status == 400
    expect(page.get_by_role("alert")).to_contain_text("150 V is outside both mains ranges")


def test_the_walk_works_without_scripts(visit: Visit) -> None:
    page = visit("reviewer", java_script_enabled=False)
    page.goto("/runs/new/?adapter=northfold-trio-140&kind=no-load&mains_v=230")
    send(page, "again.csv", no_load_log(0.2111))
    # The page reloads itself while the file is being read, and while the run is being computed.
    page.get_by_role("checkbox", name=re.compile("power", re.I)).first.check(timeout=WATCHING_MS)
    page.get_by_role("button", name="Look at what comes of it").click()
    page.get_by_role("button", name="Hand in").click(timeout=WATCHING_MS)
    expect(page.get_by_role("heading", name="Values", exact=True)).to_be_visible(
        timeout=WATCHING_MS
    )
