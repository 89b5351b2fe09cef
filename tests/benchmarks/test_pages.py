"""Ranking page and adapter page of a large bench, as multiples of the site's emptiest page.

    python -m pytest tests/benchmarks -s

Twice: as the first reader after a change sees them, and as every later one does.
"""

from __future__ import annotations

import pytest
from django.test import Client

from comparisons.queries.cohorts import remembered
from tests.benchmarks.season import fill
from tests.benchmarks.stopwatch import median_s, report

PAGES = {
    "ranking page": "/rankings/no-load-power/",
    "ranking page, filtered": "/rankings/no-load-power/?power_min=60&power_max=100",
    "adapter page": "/adapters/model-7/",
    "ranking in the API": "/api/v1/rankings/no-load-power/?line=high",
}


@pytest.mark.django_db
@pytest.mark.parametrize("adapters", [2_000, 20_000])
def test_pages_of_a_large_bench(adapters: int) -> None:
    fill(adapters)
    client = Client()

    def open_page(path: str) -> None:
        assert client.get(path).status_code == 200

    def open_afresh(path: str) -> None:
        remembered.clear()
        open_page(path)

    yardstick_s = median_s(lambda: open_page("/sign-in/"))
    for what, path in PAGES.items():
        for when, action in (("after a change", open_afresh), ("later", open_page)):
            report(
                f"{adapters:,} adapters, {what}, {when}",
                duration_s=median_s(lambda action=action, path=path: action(path)),  # type: ignore[misc]
                yardstick="the sign-in page",
                yardstick_s=yardstick_s,
            )
