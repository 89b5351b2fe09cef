"""A file as no rule can read it goes from drop to accepted; the next one needs no question."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.test_pages import violations
from tests.factories.arrivals import foreign_log
from tests.factories.measurements import no_load_log

Visit = Callable[..., Page]

WATCHING_MS = 30_000


def drop(page: Page, **files: bytes) -> None:
    """Drop files on the page, as a person does from a folder, and send them."""
    page.goto("/runs/new/")
    held = page.evaluate_handle(
        """(files) => {
          const held = new DataTransfer();
          for (const [name, content] of Object.entries(files)) {
            const bytes = Uint8Array.from(atob(content), (sign) => sign.charCodeAt(0));
            held.items.add(new File([bytes], name, { type: "text/csv" }));
          }
          return held;
        }""",
        {name: base64.b64encode(content).decode("ascii") for name, content in files.items()},
    )
    page.dispatch_event("main", "drop", {"dataTransfer": held})
    page.get_by_role("button", name="Read them").click()
    page.wait_for_url("**/runs/arrivals/**")


def test_a_foreign_file_is_settled_once_and_the_next_is_read_by_itself(visit: Visit) -> None:
    page = visit("reviewer")
    page.goto("/runs/new/names/?name=trio-140_230V_first.csv")
    page.get_by_label("Pattern", exact=True).fill("{adapter}_{mains_v}V_*")
    page.get_by_role("button", name="Try it").click()
    expect(page.get_by_role("status").filter(has_text="says")).to_contain_text("northfold-trio-140")
    page.get_by_role("button", name="Read file names by it").click()

    drop(page, **{"trio-140_230V_first.csv": foreign_log(0.2)})
    page.get_by_label("Kind", exact=True).select_option("no-load", timeout=WATCHING_MS)
    page.get_by_role("button", name="Look at what comes of it").click()
    channel = page.get_by_role("combobox", name="Kanal 1 (mW): read as")
    channel.select_option("input_power_w", timeout=WATCHING_MS)
    expect(page.get_by_text("Takt (s);Kanal 1 (mW);Kanal 2 (mW);Netz (V)")).to_be_visible()
    assert violations(page) == []
    page.get_by_role("checkbox", name=re.compile("power", re.I)).first.check()
    page.get_by_role("button", name="Read it like this").click()
    would_be = page.get_by_role("region", name="Values that would result")
    expect(would_be).to_contain_text("0.2000", timeout=WATCHING_MS)
    expect(page.get_by_role("region", name="Rows of the file")).to_contain_text("0.1998")
    assert violations(page) == []
    page.get_by_label("Name of this choice of columns").fill("Logger of the long bench")
    page.get_by_role("button", name="Hand in").click()
    expect(page.get_by_role("heading", name="Values", exact=True)).to_be_visible(
        timeout=WATCHING_MS
    )

    editor = visit("editor")
    editor.goto(page.url)
    editor.get_by_role("button", name="Accept this run").click()
    expect(editor.get_by_text(re.compile("ready, accepted"))).to_be_visible()

    # Two more of that shape, and one with a question of its own.
    drop(
        page,
        **{
            "trio-140_230V_second.csv": foreign_log(0.21),
            "trio-140_230V_third.csv": foreign_log(0.22),
            "unknown.csv": no_load_log(0.3),
        },
    )
    expect(page.get_by_text("2 need no question.")).to_be_visible(timeout=WATCHING_MS)
    assert violations(page) == []
    page.get_by_role("button", name="Hand in those with a tick").click()
    expect(page.get_by_text("Handed in: 2 runs.")).to_be_visible()
    expect(page.get_by_role("row").filter(has_text="unknown.csv")).to_contain_text("Adapter")


def test_a_file_is_handed_in_with_the_keyboard_alone(visit: Visit) -> None:
    page = visit("reviewer")
    page.goto("/runs/new/?adapter=northfold-trio-140&kind=no-load&mains_v=230")
    page.get_by_label("Files", exact=True).set_input_files(
        {"name": "keys.csv", "mimeType": "text/csv", "buffer": no_load_log(0.2345)}
    )
    page.get_by_label("Files", exact=True).focus()
    press_until(page, "Read them")
    page.keyboard.press("Enter")
    page.wait_for_url("**/runs/arrivals/**")
    expect(page.get_by_label("Kind", exact=True)).to_be_visible(timeout=WATCHING_MS)
    page.get_by_label("Mains frequency, Hz").focus()
    page.keyboard.type("50")
    press_until(page, re.compile("power meter", re.I))
    # It may be ticked already: it was used for the last run of this kind.
    if not page.evaluate("document.activeElement.checked"):
        page.keyboard.press("Space")
    press_until(page, "Look at what comes of it")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Hand in")).to_be_visible(timeout=WATCHING_MS)
    page.get_by_label("Kind", exact=True).focus()
    press_until(page, "Hand in")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"/runs/[0-9a-f-]{36}/$"))


def press_until(page: Page, name: str | re.Pattern[str]) -> None:
    """Press the tab key until the control of that name has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        label = page.evaluate(
            "(document.activeElement.labels?.[0] ?? document.activeElement).textContent.trim()"
        )
        if name == label or (isinstance(name, re.Pattern) and name.search(label)):
            return
    raise AssertionError(f"the tab key never came to {name}")
