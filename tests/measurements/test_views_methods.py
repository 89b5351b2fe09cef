"""Methods, cautions and instruments: everything declared is on a page."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from measurements.kinds import all_kinds, all_metrics
from measurements.models import Instrument
from measurements.standards.sources import SOURCES
from tests.factories.measurements import make_meter

pytestmark = pytest.mark.django_db

KINDS = [kind.slug for kind in all_kinds()]
ADD = reverse("instrument-add")


def test_every_metric_and_source_is_listed(client: Client) -> None:
    page = client.get(reverse("method-list")).text

    for key in (*all_metrics(), *SOURCES):
        assert f"<code>{key}</code>" in page


@pytest.mark.parametrize("kind", KINDS)
def test_a_method_page_holds_notes_formulas_sources_and_cautions(client: Client, kind: str) -> None:
    declared = next(item for item in all_kinds() if item.slug == kind)

    page = client.get(reverse("method", args=[kind])).text

    assert page.count("<h1>") == 1
    for metric in declared.metrics:
        assert f'id="{metric.key}"' in page
        assert SOURCES[metric.source].edition.replace("'", "&#x27;") in page
    # What the site's content security policy forbids, a page must not hold.
    assert not re.search(r"\sstyle=|<style|<script(?! src)", page)
    assert page.count("<table>") == page.count('class="scroll"')
    assert "<th>" not in page


def test_a_quantity_of_dimension_one_is_headed_without_a_unit(client: Client) -> None:
    page = client.get(reverse("method", args=["ripple"])).text

    assert '<h3 id="ripple-crest">Crest factor of the ripple</h3>' in page
    assert '<h3 id="ripple-rms">RMS ripple, mV</h3>' in page


def test_an_unknown_kind_is_a_404(client: Client) -> None:
    assert client.get(reverse("method", args=["weight"])).status_code == 404


def test_cautions_of_every_kind_stand_together(client: Client) -> None:
    page = client.get(reverse("cautions")).text

    for words in ("Mains", "Earthed probes", "Heat", "licensed", "certifies nothing"):
        assert words in page
    for kind in all_kinds():
        assert kind.title in page


def test_instruments_are_public_and_writing_one_down_is_not(
    client: Client, person: Callable[[str], User]
) -> None:
    make_meter(calibrated_on="2020-01-01", calibration_due="2021-01-01")

    page = client.get(reverse("instrument-list"))
    assert "Bench meter" in page.text
    assert "overdue" in page.text
    assert client.get(ADD).headers["Location"] == f"{reverse('sign-in')}?next={ADD}"
    client.force_login(person("reader"))
    assert client.get(ADD).status_code == 403


def test_an_instrument_is_saved(client: Client, reviewer: User) -> None:
    client.force_login(reviewer)

    answer = client.post(
        ADD,
        {
            "name": "Voltmeter",
            "quantity": "output_voltage",
            "reading_percent": "0.02",
            "fixed": "0",
        },
    )

    assert answer.headers["Location"] == reverse("instrument-list")
    assert Instrument.objects.get().reading_percent == 0.02


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": "Bench meter"}, "already exists"),
        ({"reading_percent": "-1"}, "not negative"),
        ({"quantity": "weight"}, "Select a valid choice"),
        (
            {"calibrated_on": "2026-02-01", "calibration_due": "2026-01-01"},
            "falls due after it was made",
        ),
    ],
)
def test_an_instrument_that_cannot_be_is_refused_with_a_sentence(
    client: Client, reviewer: User, changes: dict[str, str], words: str
) -> None:
    make_meter()
    client.force_login(reviewer)
    said = {"name": "New", "quantity": "ripple", "reading_percent": "1", "fixed": "0.5"}

    answer = client.post(ADD, {**said, **changes})

    assert answer.status_code == 400
    assert words in answer.text
    assert Instrument.objects.count() == 1
