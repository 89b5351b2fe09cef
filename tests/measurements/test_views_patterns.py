"""The page on which a bench says what its file names say."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from measurements.models import FileNamePattern
from measurements.queries.file_names import said_by_name
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

NAMES = reverse("file-names")
PATTERN = "{adapter}_{mains_v}V_{port}"


@pytest.fixture
def bench(client: Client, reviewer: User) -> Client:
    """A reviewer's client, with an adapter written down."""
    make_adapter()
    client.force_login(reviewer)
    return client


def test_trying_a_pattern_saves_nothing(bench: Client) -> None:
    page = bench.post(NAMES, {"pattern": PATTERN, "name": "solo-65_230V_c1.csv", "do": "try"})

    assert "northfold-solo-65" in page.text
    assert not FileNamePattern.objects.exists()


def test_a_pattern_is_added_once_and_retired(bench: Client, reviewer: User) -> None:
    assert bench.post(NAMES, {"pattern": PATTERN, "do": "add"}).status_code == 302
    again = bench.post(NAMES, {"pattern": PATTERN, "do": "add"})
    assert again.status_code == 400
    assert "in use already" in again.text

    said = said_by_name("Solo 65_230,5V_c1.csv", viewer=reviewer)
    assert said is not None
    assert said.fields == {"adapter": "northfold-solo-65", "mains_v": "230.5", "port": "C1"}

    made = FileNamePattern.objects.get()
    bench.post(reverse("file-name-retire", args=[made.pk]))
    assert said_by_name("Solo 65_230,5V_c1.csv", viewer=reviewer) is None


def test_an_adapter_is_found_with_its_maker(bench: Client, reviewer: User) -> None:
    make_adapter("Duo 30", slug="d30")
    bench.post(NAMES, {"pattern": PATTERN, "do": "add"})
    for name in ("Northfold Duo 30_230V_C1", "Duo 30_230V_C1", "d30_230V_C1"):
        said = said_by_name(name, viewer=reviewer)
        assert said is not None
        assert said.fields["adapter"] == "d30"


def test_what_a_name_says_and_nobody_knows_is_told(bench: Client) -> None:
    page = bench.post(NAMES, {"pattern": PATTERN, "name": "duo-30_230V_Z9", "do": "try"})
    assert "“duo-30” is not known here and is left open." in page.text


@pytest.mark.parametrize("pattern", ["plain", "{weight}", "{unit", "x" * 201, ""])
def test_a_pattern_that_cannot_be_used_is_a_400_with_a_sentence(
    bench: Client, pattern: str
) -> None:
    answer = bench.post(NAMES, {"pattern": pattern, "do": "add"})

    assert answer.status_code == 400
    assert "errorlist" in answer.text
    assert not FileNamePattern.objects.exists()
