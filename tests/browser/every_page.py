"""The address of every page that a person can open, with something to see on each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.urls import URLResolver, get_resolver, resolve
from playwright.sync_api import FilePayload, Page

TRIO = "/adapters/northfold-trio-140/"
TABLE = "/comparisons/four-adapters-for-a-large-laptop/"
DEVICE = "hayrick-light-laptop"
DRAFT = "Two for the desk"

READING = (
    "/",
    "/search/?q=trio",
    "/adapters/",
    TRIO,
    f"{TRIO}facts/",
    "/rankings/",
    "/rankings/no-load-power/",
    "/rankings/average-efficiency/?power_min=60",
    "/rankings/pair/",
    "/comparisons/",
    TABLE,
    f"{TABLE}facts/",
    f"{TABLE}embed/",
    "/runs/",
    "/instruments/",
    "/tables/",
    "/devices/",
    f"/devices/{DEVICE}/",
    "/charges/",
    f"/charges/{DEVICE}/",
    "/methods/",
    "/methods/glossary/",
    "/methods/efficiency/",
    "/methods/charge/",
    "/cautions/",
    "/decode/",
    "/decode/?words=0x0881912C+0x0002D12C+0xE007D1F4+0xC9A42164+0x4641912C&rated_power_w=65",
)
"""What readers open; a page of each sort."""

SIGNED_OUT = "/sign-in/"

WORKING = (
    "/adapters/new/",
    f"{TRIO}edit/",
    f"{TRIO}plan/",
    f"{TRIO}attachments/new/",
    "/devices/new/",
    f"/devices/{DEVICE}/edit/",
    "/runs/new/package/",
    "/runs/new/",
    "/runs/new/?adapter=northfold-trio-140&kind=thermal",
    "/runs/new/names/",
    "/runs/new/maps/",
    "/runs/arrivals/",
    "/tables/new/",
    "/instruments/new/",
    "/comparisons/new/",
    "/account/tokens/",
    "/trail/",
)
"""What editors open beside that."""


@dataclass(frozen=True, slots=True)
class Link:
    """A page without a name that is known beforehand: a link to it stands on another page."""

    on: str
    to: str

    def found(self, page: Page) -> str:
        """Its address, as whoever looks at `page` sees it; the first link counts."""
        text = page.request.get(self.on).text()
        found = re.search(rf'(?:href|action)="({self.to})"', text)
        assert found is not None, f"{self.on} leads nowhere like {self.to}"
        return found[1]


READING_LINKS = (Link(TRIO, rf"{TRIO}beside/[\w-]+/"),)
WORKING_LINKS = (
    Link(TRIO, r"/attachments/[0-9a-f-]+/remove/"),
    Link("/tables/", r"/tables/[0-9a-f-]{36}/"),
    Link("/runs/arrivals/", r"/runs/arrivals/[0-9a-f-]+/"),
    Link("/account/tokens/", r"/account/tokens/\d+/revoke/"),
)


def newest_run_of(page: Page, adapter: str) -> str:
    """The address of an accepted run of that adapter."""
    runs = page.request.get(f"/api/v1/runs/?adapter={adapter}&limit=1").json()["results"]
    return f"/runs/{runs[0]['id']}/"


def reading_pages(page: Page) -> list[str]:
    """Everything that readers open."""
    run = newest_run_of(page, "northfold-trio-140")
    return [*READING, run, *(link.found(page) for link in READING_LINKS)]


def working_pages(page: Page) -> list[str]:
    """Everything that editors open beside that; `page` is an editor's, after `furnish`."""
    run = newest_run_of(page, "northfold-trio-140")
    draft = draft_of(page)
    return [
        *WORKING,
        f"{run}amend/",
        f"{run}attachments/new/",
        f"{draft}edit/",
        f"{draft}preview/",
        *(link.found(page) for link in WORKING_LINKS),
    ]


def draft_of(page: Page) -> str:
    """The address of the draft that `furnish` makes."""
    found = page.request.get("/api/v1/comparisons/?limit=500").json()["results"]
    return next(f"/comparisons/{one['slug']}/" for one in found if one["title"] == DRAFT)


def furnish(page: Page) -> None:
    """What the demonstration lacks, by an editor: a token, a table, an arrival, a draft."""
    page.goto("/account/tokens/")
    page.get_by_label("What it is for").fill("Pictures of every page")
    page.get_by_label("May do what a").select_option("editor")
    page.get_by_role("button", name="Make the token").click()
    key = page.locator("#key").inner_text()
    bearer = {"Authorization": f"Bearer {key}"}
    for path, body in (
        ("tables/", {"multipart": _TABLE}),
        ("comparisons/", {"data": _DRAFT}),
    ):
        answer = page.request.post(f"/api/v1/{path}", headers=bearer, **body)
        assert answer.ok, answer.text()
    page.goto("/runs/new/")
    page.get_by_label("Files").set_input_files([_LOG])
    page.get_by_role("button", name="Read them").click()
    page.wait_for_url("**/runs/arrivals/**")


_TABLE = {
    "origin": "Bench of 2019",
    "file": {
        "name": "results.csv",
        "mimeType": "text/csv",
        "buffer": b"adapter,metric,line,value,standard_uncertainty\n"
        b"northfold-trio-140,ripple-no-load,high,21.0,0.4\n",
    },
}
_DRAFT = {
    "title": DRAFT,
    "adapters": ["northfold-trio-140", "northfold-mullion-30"],
    "metrics": ["no-load-power", "power-density"],
}
_LOG = FilePayload(
    name="trio at the desk.csv",
    mimeType="text/csv",
    buffer=b"t;P1\n" + b"".join(b"%d;0,2%d\n" % (each, each % 7) for each in range(40)),
)

_FILES = re.compile(r"\.(csv|svg|png|txt|md|xlsx|parquet|atom)$|/raw/$|/original/$|^favicon")
_NO_PAGES = re.compile(r"^(admin|api)/|/(accept|withdraw|publish|revise|retire)/$")
_PICTURES = ("sign-out/", "attachments/<uuid:attachment_id>/", "adapters/<slug:slug>/facts.txt")


def forgotten(addresses: Iterable[str]) -> set[str]:
    """Patterns of pages of the site of which no address is among these."""
    seen = {resolve(address.partition("?")[0]).route for address in addresses}
    return {
        route
        for route in _routes(get_resolver())
        if not (_FILES.search(route) or _NO_PAGES.search(route) or route in _PICTURES)
    } - seen


def _routes(resolver: URLResolver, before: str = "") -> Iterator[str]:
    for item in resolver.url_patterns:
        pattern = before + str(item.pattern)
        if isinstance(item, URLResolver):
            yield from _routes(item, pattern)
        else:
            yield pattern
