"""A page of 50 values over the API, against a bare view with a fast JSON encoder.

    python -m pytest tests/benchmarks/test_page_of_values.py -s

The bare view runs the same query under the same middleware, builds the same rows by hand and
writes them with `orjson`. Both are asked by the test client, in turns.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import orjson
import pytest
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path

from brickledger.urls import handler400, handler500
from brickledger.urls import urlpatterns as site_patterns
from measurements.kinds import all_metrics
from measurements.models import Value
from measurements.queries import current_values
from tests.benchmarks.season import fill

__all__ = ["handler400", "handler500", "urlpatterns"]

LIMIT = 50
ROUNDS = 200
PARTS = ("line", "output_v", "load", "load_percent", "device", "sensor", "port")
UNITS = {key: metric.unit for key, metric in all_metrics().items()}

pytestmark = pytest.mark.urls("tests.benchmarks.test_page_of_values")


def bare(request: HttpRequest) -> HttpResponse:
    """The page without parameters, shapes or errors."""
    values = current_values(viewer=request.user).select_related("adapter")
    found = list(values.order_by("pk")[: LIMIT + 1])
    content = {"results": [_row(value) for value in found[:LIMIT]], "next": str(found[LIMIT].pk)}
    return HttpResponse(orjson.dumps(content), content_type="application/json")


def _row(value: Value) -> dict[str, Any]:
    parts = ((part, getattr(value, part)) for part in PARTS)
    return {
        "adapter": value.adapter.slug,
        "metric": value.metric,
        "value": value.value,
        "unit": UNITS[value.metric],
        "standard_uncertainty": value.standard_uncertainty if value.uncertainty_known else None,
        "condition": {part: content for part, content in parts if content not in ("", None)},
        "method": value.method,
        "not_comparable": value.apart or None,
        "run": str(value.run_id) if value.run_id else None,
        "source": "run" if value.run_id else "catalogue",
        "table": value.table_id,
        "current_from": value.current_from,
    }


urlpatterns = [path("bare/", bare), *site_patterns]


@pytest.mark.django_db
def test_a_page_of_values_costs_at_most_three_bare_views() -> None:
    fill(2000)
    client = Client()
    assert settings.MIDDLEWARE

    def ask(address: str) -> Callable[[], Any]:
        return lambda: client.get(address)

    actions = {"bare": ask("/bare/"), "API": ask(f"/api/v1/values/?limit={LIMIT}")}
    answers = {name: action().json()["results"] for name, action in actions.items()}
    assert len(answers["API"]) == len(answers["bare"]) == LIMIT
    for ours, theirs in zip(answers["API"], answers["bare"], strict=True):
        moments = {row.pop("current_from").replace("+00:00", "Z") for row in (ours, theirs)}
        assert len(moments) == 1
        assert ours == theirs
    durations: dict[str, list[float]] = {name: [] for name in actions}
    for _ in range(ROUNDS):
        for name, action in actions.items():
            begin = time.perf_counter()
            action()
            durations[name].append(time.perf_counter() - begin)
    ours_s, bare_s = (statistics.median(durations[name]) for name in ("API", "bare"))
    print(
        f"\nA page of {LIMIT} values: {1e3 * ours_s:.2f} ms, {ours_s / bare_s:.2f} times a bare "
        f"view with orjson ({1e3 * bare_s:.2f} ms)"
    )
