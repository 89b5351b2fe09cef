"""The shell around every page: landmarks, notices, errors, sign-in, the content policy."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth.models import User
from django.template.loader import render_to_string
from django.test import Client, RequestFactory
from django.urls import reverse

from brickledger.models import SiteNotice

pytestmark = pytest.mark.django_db

PAGES = [reverse(name) for name in ("adapter-list", "run-list", "instrument-list", "method-list")]
PAGES += [reverse("cautions"), reverse("sign-in"), "/nowhere/"]


@pytest.mark.parametrize("address", PAGES)
def test_every_page_has_language_landmarks_skip_link_and_notice(
    client: Client, address: str
) -> None:
    SiteNotice.objects.create(text="All data are <invented>.")

    page = client.get(address).text

    assert '<html lang="en">' in page
    for tag in ("<header", "<main", "<footer", "<nav"):
        assert tag in page
    assert page.count("<h1") == 1
    assert '<a class="skip" href="#content">' in page
    assert "All data are &lt;invented&gt;." in page
    assert "an indication from one bench, not a certification" in page


@pytest.mark.parametrize("address", PAGES)
def test_no_page_holds_a_style_or_script_written_into_it(client: Client, address: str) -> None:
    answer = client.get(address)

    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert not re.search(r"\sstyle=|<style|<script(?! src)|\son\w+=", answer.text)


def test_the_present_section_is_marked(client: Client) -> None:
    page = client.get(reverse("run-list")).text

    assert re.findall(r'aria-current="true">(\w+)<', page) == ["Bench"]


def test_signing_in_leads_back_and_out_needs_a_form(client: Client) -> None:
    User.objects.create_user("mira", password="a-long-secret")

    wrong = client.post(reverse("sign-in"), {"username": "mira", "password": "no"})
    assert "do not belong together" in wrong.text
    right = client.post(
        reverse("sign-in"),
        {"username": "mira", "password": "a-long-secret", "next": reverse("cautions")},
    )
    assert right.headers["Location"] == reverse("cautions")
    assert "mira" in client.get(reverse("cautions")).text
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.post(reverse("sign-out")).status_code == 302


def test_a_form_without_its_token_is_told_what_happened() -> None:
    client = Client(enforce_csrf_checks=True)

    answer = client.post(reverse("sign-in"), {"username": "a", "password": "b"})

    assert answer.status_code == 403
    assert "Form out of date" in answer.text


@pytest.mark.parametrize("template", ["400.html", "500.html"])
def test_error_pages_without_a_request_need_no_database(
    template: str, django_assert_num_queries: object
) -> None:
    with django_assert_num_queries(0):  # type: ignore[operator]
        page = render_to_string(template)

    assert "<h1>" in page


def test_a_403_says_who_may(client: Client) -> None:
    request = RequestFactory().get("/")

    page = render_to_string("403.html", request=request)

    assert "Reviewers hand in runs" in page
