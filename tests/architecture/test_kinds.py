"""A contract over every kind that is registered: it is whole, documented and reachable."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from django.test import Client

from measurements.intake.columns import Table
from measurements.kinds import all_kinds, all_metrics, method_notes
from measurements.kinds.base import AdapterFacts, Condition, Kind, Setup
from measurements.standards.sources import SOURCES

ROOT = Path(__file__).resolve().parent.parent.parent
KINDS = pytest.mark.parametrize("kind", all_kinds(), ids=lambda kind: kind.slug)


def test_the_three_kinds_of_the_main_job_are_there() -> None:
    assert {"no-load", "efficiency", "thermal"} <= {kind.slug for kind in all_kinds()}


@KINDS
def test_a_kind_has_a_folder_of_tests(kind: Kind) -> None:
    folder = ROOT / "tests" / "measurements" / "kinds" / kind.slug.replace("-", "_")
    assert list(folder.glob("test_*.py")), f"{folder} holds no test"


@KINDS
def test_every_metric_says_what_it_is(kind: Kind) -> None:
    parts = set(Condition.__dataclass_fields__)
    for metric in kind.metrics:
        assert metric.definition, metric.key
        assert metric.formula, metric.key
        assert metric.source in SOURCES, metric.key
        assert set(metric.condition) <= parts, metric.key
        assert metric.better or not metric.ranked, f"{metric.key} is ranked without a direction"


@KINDS
def test_the_method_notes_state_source_and_cautions(kind: Kind) -> None:
    notes = method_notes(kind.slug).lower()
    for word in ("caution", "formula", "source", "uncertainty", "local codes"):
        assert word in notes, f"the README of {kind.slug} does not speak of {word}"
    assert kind.cautions


@KINDS
def test_required_columns_are_recognised_by_their_canonical_name(kind: Kind) -> None:
    names = [column.name for column in kind.columns]
    assert len(names) == len(set(names))
    # A kind whose tables come in several forms requires no single column, and must itself refuse
    # a table without any.
    nothing = Table(columns={}, rows=np.array([], dtype=np.int64))
    asks = any(column.required for column in kind.columns)
    assert asks or kind.check(nothing, Setup(adapter=AdapterFacts(rated_power_w=1.0)))


@pytest.mark.django_db
@KINDS
def test_the_method_page_shows_every_metric(kind: Kind, client: Client) -> None:
    page = client.get(f"/methods/{kind.slug}/")
    assert page.status_code == 200
    text = page.content.decode()
    for metric in kind.metrics:
        assert metric.key in text


@pytest.mark.django_db
def test_the_api_lists_every_metric(client: Client) -> None:
    listed = {entry["key"] for entry in client.get("/api/v1/metrics/?limit=500").json()["results"]}
    assert listed == set(all_metrics())
