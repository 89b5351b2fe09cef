"""Ranking page and adapter page of a large bench, as multiples of the site's emptiest page.

    python -m pytest tests/benchmarks -s

Three times: as the first reader after a change sees them, as everybody who has an account does
later, and as readers without one get them, who all are given the page that was made for the first.
"""

from __future__ import annotations

import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from catalog.models import Adapter, Maker
from comparisons.queries.cohorts import remembered
from tests.benchmarks.season import fill
from tests.benchmarks.stopwatch import median_s, report

PAGES = {
    "ranking page": "/rankings/no-load-power/",
    "ranking page, filtered": "/rankings/no-load-power/?power_min=60&power_max=100",
    "adapter page": "/adapters/model-7/",
    "page of an adapter without a run": "/adapters/bare/",
    "ranking in the API": "/api/v1/rankings/no-load-power/?line=high",
    "search": "/search/?q=model+77",
    "search, all fit": "/search/?q=model",
    "list of adapters, filtered": "/adapters/?connector=usb-c&power_min=60&profile_v=28",
    "method page": "/methods/efficiency/",
    "first page": "/",
    "two side by side": "/adapters/model-7/beside/model-8/",
}


@pytest.mark.django_db
@pytest.mark.parametrize("adapters", [2_000, 20_000])
def test_pages_of_a_large_bench(adapters: int, settings: Settings) -> None:
    fill(adapters)
    maker = Maker.objects.order_by("pk")[0]
    Adapter.objects.create(maker=maker, name="Bare", slug="bare", rated_power_w=65.0)
    client = Client()

    def open_page(path: str) -> None:
        assert client.get(path).status_code == 200

    def open_afresh(path: str) -> None:
        remembered.clear()
        open_page(path)

    def open_kept(path: str) -> None:
        settings.PAGE_SECONDS = 60
        open_page(path)
        settings.PAGE_SECONDS = 0

    yardstick_s = median_s(lambda: open_page("/sign-in/"))
    for what, path in PAGES.items():
        for when, action in (
            ("after a change", open_afresh),
            ("later", open_page),
            ("kept", open_kept),
        ):
            report(
                f"{adapters:,} adapters, {what}, {when}",
                duration_s=median_s(lambda action=action, path=path: action(path)),  # type: ignore[misc]
                yardstick="the sign-in page",
                yardstick_s=yardstick_s,
            )
