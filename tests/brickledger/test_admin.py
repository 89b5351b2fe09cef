"""Whoever runs the site can take a token back."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from rest_framework.test import APIClient

from brickledger.models import ApiToken

LIST = "/admin/brickledger/apitoken/"


@pytest.mark.django_db
def test_a_revoked_token_opens_nothing_any_more(
    client: Client, admin_user: User, reviewer: User
) -> None:
    token = ApiToken.issue(name="bench script", user=reviewer)
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    assert program.get("/api/v1/runs/").status_code == 200
    client.force_login(admin_user)
    row = ApiToken.objects.get()
    page = client.post(LIST, {"action": "revoke", "_selected_action": [row.pk]}, follow=True)
    assert "1 revoked." in page.content.decode()
    assert program.get("/api/v1/runs/").status_code == 401


@pytest.mark.django_db
def test_a_token_is_never_made_or_shown_in_the_admin(
    client: Client, admin_user: User, reviewer: User
) -> None:
    token = ApiToken.issue(name="bench script", user=reviewer)
    client.force_login(admin_user)
    assert client.get(f"{LIST}add/").status_code == 403
    page = client.get(f"{LIST}{ApiToken.objects.get().pk}/change/").content.decode()
    assert "bench script" in page
    assert token not in page
