"""Pictures of every page, wide and narrow, light and dark, for a person to look through.

    python -m tests.browser.screenshots FOLDER

Makes a demonstration of its own, opens every page as a reader and as an editor, and leaves one
PNG a page and look in FOLDER, with an `index.html` that shows the four of a page side by side.
"""

from __future__ import annotations

import argparse
import html
import os
import re
import tempfile
from itertools import product
from pathlib import Path

import django
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM, Demonstration, served, signed_in

WIDTHS = (1440, 390)
SCHEMES = ("light", "dark")


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("folder", type=Path, help="where the pictures go")
    folder: Path = parser.parse_args().folder
    if not CHROMIUM:
        parser.error("This machine has no Chromium; install it first.")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "brickledger.settings")
    django.setup()
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as made,
        served(Path(made)) as site,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, headless=True, args=ARGUMENTS
        )
        taken = list(dict.fromkeys(take_all(browser, site, folder)))
        browser.close()
    (folder / "index.html").write_text(index(taken), encoding="utf-8")
    count = len(taken) * len(WIDTHS) * len(SCHEMES)
    print(f"{len(taken)} pages, {count} pictures: {folder / 'index.html'}")


def take_all(browser: Browser, site: Demonstration, folder: Path) -> list[str]:
    """One picture of each page in each look; the pages' addresses."""
    # Imported when the framework is set up: it resolves addresses.
    from tests.browser import every_page  # noqa: PLC0415

    with browser.new_context(base_url=site.address) as context:
        every_page.furnish(signed_in(context.new_page(), site, "editor"))
    taken: list[str] = []
    for width, scheme in product(WIDTHS, SCHEMES):
        look = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
        with (
            browser.new_context(base_url=site.address, **look) as anybody,  # type: ignore[arg-type]
            browser.new_context(base_url=site.address, **look) as desk,  # type: ignore[arg-type]
        ):
            editor = signed_in(desk.new_page(), site, "editor")
            reading = [*every_page.reading_pages(editor), every_page.SIGNED_OUT]
            working = every_page.working_pages(editor)
            for context, addresses in ((anybody, reading), (desk, working)):
                take(context, addresses, folder / f"{width}-{scheme}")
        taken += [*reading, *working]
    return taken


def take(context: BrowserContext, addresses: list[str], folder: Path) -> None:
    """One picture of each of these pages, from top to bottom."""
    folder.mkdir(exist_ok=True)
    page = context.new_page()
    for address in addresses:
        page.goto(address)
        page.screenshot(path=folder / f"{name_of(address)}.png", full_page=True)


def name_of(address: str) -> str:
    """A file's name for an address: readable, and of a length that every system takes."""
    return re.sub(r"[^a-z0-9]+", "-", address.lower()).strip("-")[:80] or "home"


def index(addresses: list[str]) -> str:
    """A page with the four pictures of each page in a row."""
    rows = []
    for address in addresses:
        shots = "".join(
            f'<a href="{width}-{scheme}/{name_of(address)}.png">'
            f'<img loading="lazy" width="{240 if width > 800 else 120}" alt="{width} px, {scheme}" '
            f'src="{width}-{scheme}/{name_of(address)}.png"></a> '
            for width, scheme in product(WIDTHS, SCHEMES)
        )
        rows.append(f"<h2>{html.escape(address)}</h2>\n<p>{shots}</p>")
    return "<!doctype html>\n<title>Every page</title>\n" + "\n".join(rows) + "\n"


if __name__ == "__main__":
    main()
