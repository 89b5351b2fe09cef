"""Adapters and makers found by words, however somebody writes them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from catalog.models import Adapter, Maker
from catalog.queries import BEGINS, EXACT, WITHIN, WORDS, as_one_parameter, find, fit, folded
from tests.factories.catalog import make_adapter

in_database = pytest.mark.django_db


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Nörthfold  Trio-65", "northfold trio 65"),
        ("ÉCLAT", "eclat"),
        ("straße", "strasse"),
        ("  …—", ""),
        ("ﬁne", "fine"),  # NFKD takes ligatures apart: Unicode Standard Annex 15
    ],
)
def test_folding_keeps_letters_and_digits_alone(text: str, plain: str) -> None:
    assert folded(text) == plain


@given(st.text(alphabet=st.characters(max_codepoint=127), max_size=30))
def test_ascii_is_folded_as_every_other_text(text: str) -> None:
    # A sign beyond ASCII takes the other way through the function.
    assert folded(text) == folded(f"{text} é").removesuffix("e").rstrip()


@given(st.text(max_size=40))
def test_folding_twice_changes_nothing(text: str) -> None:
    assert folded(folded(text)) == folded(text)


@pytest.mark.parametrize(
    ("asked", "how"),
    [
        ("northfold trio 65", EXACT),
        ("trio65", EXACT),
        ("nf 65", EXACT),
        ("north", BEGINS),
        ("trio north", WORDS),
        ("rio", WITHIN),
        ("old trio", WITHIN),
        ("trio 66", None),
    ],
)
def test_exact_comes_before_beginnings_before_words(asked: str, how: int | None) -> None:
    names = ("northfold trio 65", "trio 65", "nf 65")
    assert fit(tuple(asked.split()), names) == how


@in_database
def test_what_is_named_exactly_comes_first() -> None:
    for name in ("Trio 65 Plus", "Old Trio 65", "Trio 65", "Duo 65"):
        make_adapter(name)

    found = find("trio-65", viewer=None)

    names = dict(Adapter.objects.values_list("pk", "name"))
    assert [names[pk] for pk in found.adapters] == ["Trio 65", "Trio 65 Plus", "Old Trio 65"]
    assert found.makers == []


@in_database
@pytest.mark.parametrize(
    "asked", ["Grönvik Pebble", "gronvik pebble", "PEBBLE grön", "gv100", "GV 100", "gronvikpebble"]
)
def test_accents_capitals_hyphens_and_spaces_make_no_difference(asked: str) -> None:
    adapter = make_adapter("Pebble", maker="Grönvik", model_number="GV-100")
    make_adapter("Other")

    assert find(asked, viewer=None).adapters == [adapter.pk]


@in_database
def test_what_was_written_since_is_found_and_what_was_renamed_no_more() -> None:
    adapter = make_adapter("Pebble")
    assert find("pebble", viewer=None).adapters == [adapter.pk]
    assert find("boulder", viewer=None).adapters == []

    adapter.name = "Boulder"
    adapter.save()
    Maker.objects.update(name="Southfold")

    assert find("pebble", viewer=None).adapters == [adapter.pk]  # its slug stays
    assert find("southfold boulder", viewer=None).adapters == [adapter.pk]
    assert find("southfold", viewer=None).makers == [adapter.maker_id]


@in_database
def test_an_embargoed_adapter_and_its_maker_are_found_by_those_who_work_on_it(
    editor: User,
) -> None:
    secret = make_adapter(
        "Secret 1", maker="Hushford", publish_on=timezone.now().date() + timedelta(days=9)
    )

    for asked in ("secret", "hushford", "hush"):
        assert find(asked, viewer=None) == find("nothing like it", viewer=None)
    assert find("hush", viewer=editor).adapters == [secret.pk]
    assert find("hush", viewer=editor).makers == [secret.maker_id]


@in_database
@pytest.mark.parametrize("adapters", [1, 12])
def test_a_search_takes_a_fixed_number_of_queries(
    django_assert_num_queries: Any, adapters: int
) -> None:
    for number in range(adapters):
        make_adapter(f"Solo {number}", maker=f"Maker {number}")
    find("solo", viewer=None)

    # Makers, what is hidden, whether anything changed.
    with django_assert_num_queries(3):
        assert len(find("solo", viewer=None).adapters) == adapters


@in_database
@pytest.mark.parametrize("count", [0, 1, 40_000])
def test_any_number_of_ids_is_one_parameter(count: int) -> None:
    adapter = make_adapter()
    ids = [adapter.pk, *range(10**6, 10**6 + count - 1)] if count else []

    found = Adapter.objects.filter(pk__in=as_one_parameter(ids))

    assert list(found) == ([adapter] if count else [])
