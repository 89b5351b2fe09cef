"""The page on which anybody decodes words, read from its address."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from pytest_django.asserts import assertNotContains

from catalog.power_delivery.audit import audit
from catalog.power_delivery.objects import decode_all, encode
from catalog.power_delivery.words import LARGEST_COUNT, parse_words
from catalog.views import EXAMPLE_POWER_W, EXAMPLE_WORDS
from tests.catalog.power_delivery.scans import SCAN_140_W, fixed, scan

pytestmark = pytest.mark.django_db

PAGE = reverse("decode")


def cells(text: str) -> list[list[str]]:
    """The rows of the table of objects, cell by cell, as a person reads them."""
    body = text.partition("<tbody>")[2].partition("</tbody>")[0]
    return [
        [
            " ".join(unescape(re.sub(r"<[^>]+>", " ", cell)).split())
            for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        ]
        for row in re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)
    ]


def test_without_words_there_is_a_form_and_an_example(client: Client) -> None:
    page = client.get(PAGE)

    assert page.status_code == 200
    assert "not what it can deliver" in page.text
    assert 'role="alert"' not in page.text
    assert "<tbody>" not in page.text


def test_the_example_that_is_linked_is_a_sound_source(client: Client) -> None:
    link = re.search(r'href="(/decode/\?[^"]+)"', client.get(PAGE).text)
    assert link is not None

    page = client.get(unescape(link[1]))

    assert page.status_code == 200
    objects = decode_all(parse_words(EXAMPLE_WORDS).words)
    assert objects == SCAN_140_W
    found = audit(objects, port_rated_power_w=EXAMPLE_POWER_W)
    assert {item.severity for item in found} == {"note"}
    assert "At most 140 W are advertised" in page.text


def test_each_object_is_a_row_of_kind_voltage_current_power_and_flags(client: Client) -> None:
    page = client.get(PAGE, {"words": EXAMPLE_WORDS})

    rows = cells(page.text)
    assert len(rows) == 9
    assert rows[0] == [
        "1",
        "Fixed",
        "5",
        "3",
        "15",
        "unconstrained power, EPR mode capable",
        "0x0881912C",
    ]
    assert rows[4][1:5] == ["Adjustable (SPR AVS)", "9 to 15 15 to 20", "5 5", "100"]
    assert rows[5][1:6] == ["Programmable (SPR PPS)", "3.3 to 21", "5", "105", "power limited"]
    assert rows[6][1:6] == ["Padding, offers nothing", "–", "–", "–", "–"]
    assert rows[8][1:5] == ["Adjustable (EPR AVS)", "15 to 28", "–", "140"]


def test_a_finding_says_how_grave_it_is_which_rule_and_how_its_source_is_known(
    client: Client,
) -> None:
    words = [f"{encode(item):08X}" for item in scan(fixed(9, 3), fixed(28, 5))]

    text = client.get(PAGE, {"words": " ".join(words)}).text

    for item in audit(decode_all([int(word, 16) for word in words])):
        assert f'<code class="small">{item.rule}</code>' in text
        assert item.detail in unescape(text)
    assert re.search(r"✕</span> Error:</span> .*first-object-five-volts", text)
    assert "read in the source" in text
    assert "from memory, not checked against the text" in text


def test_a_list_without_findings_is_said_to_be_no_certification(client: Client) -> None:
    page = client.get(PAGE, {"words": "0001912C"})

    assert "Nothing was found by the rules that are known here" in page.text
    assert "not a certification" in page.text


def test_the_rated_power_is_compared_with_what_is_offered(client: Client) -> None:
    text = client.get(PAGE, {"words": "0001912C", "rated_power_w": "65"}).text

    assert "With a rated power of 65 W" in text
    assert "required-voltage-missing" in text


def test_bytes_in_the_order_of_the_wire_give_the_same_words(client: Client) -> None:
    page = client.get(PAGE, {"words": "2C 91 01 00\r\n2C D1 02 00", "order": "bytes"})

    assert [row[-1] for row in cells(page.text)] == ["0x0001912C", "0x0002D12C"]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"words": ""}, "Paste at least one word"),
        ({"words": " \n\t"}, "There is no word in the text"),
        ({"words": "0001912C\r\n\r\nzz"}, "Line 3: “zz” is not a 32-bit word"),
        ({"words": "0001912C 1912C"}, "Line 1: “1912C” is not a 32-bit word"),
        ({"words": "0001912C " * (LARGEST_COUNT + 1)}, "more than 64 words"),
        ({"words": "2C 91 01", "order": "bytes"}, "3 bytes do not make whole words"),
        ({"words": "0001912C", "order": "sideways"}, "sideways is not one of"),
        ({"words": "a" * 4001}, "at most 4000 characters"),
        ({"words": "0001912C\0"}, "Null characters are not allowed"),
        ({"words": "0001912C", "rated_power_w": "much"}, "Enter a number"),
        ({"words": "0001912C", "rated_power_w": "nan"}, "Enter a number"),
        ({"words": "0001912C", "rated_power_w": "0"}, "greater than or equal to 0.1"),
        ({"words": "0001912C", "rated_power_w": "1e9"}, "less than or equal to 10000"),
        ({"words": "0001912C", "power": "65"}, "This page does not know “power”"),
        ({"rated_power_w": "65"}, "Paste at least one word"),
    ],
)
def test_what_cannot_be_read_is_a_400_that_says_where(
    client: Client, query: dict[str, str], words: str
) -> None:
    page = client.get(PAGE, query)

    assert page.status_code == 400
    assert words in unescape(page.text)
    assert "Nothing was decoded" in page.text
    assert "<tbody>" not in page.text


def test_a_text_that_cannot_be_read_stays_in_its_field(client: Client) -> None:
    page = client.get(PAGE, {"words": "0001912C zz", "rated_power_w": "65", "order": ""})

    area = re.search(r"<textarea[^>]*>(.*?)</textarea>", page.text, re.DOTALL)
    assert area is not None
    assert area[1].strip() == "0001912C zz"
    assert 'value="65"' in page.text


def test_what_was_pasted_is_shown_as_text_never_as_markup(client: Client) -> None:
    hostile = "</textarea><script>alert(1)</script>"

    page = client.get(PAGE, {"words": hostile, "<img src=x>": "1", "rated_power_w": '"><b>'})

    assert page.status_code == 400
    for markup in ("<script>alert", "<img src=x>", '"><b>'):
        assertNotContains(page, markup, status_code=400)
    assert "&lt;script&gt;" in page.text


def test_bytes_that_are_no_text_are_refused_like_any_other_word(client: Client) -> None:
    assert client.get(f"{PAGE}?words=%FF%FE%00%ED%A0%80").status_code == 400


@pytest.mark.parametrize("role", ["reader", "reviewer", "editor"])
def test_everybody_sees_the_same(role: str, client: Client, person: Callable[[str], User]) -> None:
    stranger = client.get(PAGE, {"words": EXAMPLE_WORDS}).text
    client.force_login(person(role))

    page = client.get(PAGE, {"words": EXAMPLE_WORDS})

    assert cells(page.text) == cells(stranger)


def test_the_page_only_reads(client: Client) -> None:
    assert client.post(PAGE, {"words": "0001912C"}).status_code == 405


def test_the_methods_lead_to_it(client: Client) -> None:
    assert f'href="{PAGE}"' in client.get(reverse("method-list")).text
