"""The same request twice at the same moment, on a database that lets both in."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from rest_framework.test import APIClient

from brickledger.models import ApiToken
from catalog.models import Adapter, Write
from tests.factories.api import ADAPTER

pytestmark = [
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="needs PostgreSQL (DATABASE_URL)"),
]


@pytest.mark.parametrize("turn", range(3))
def test_two_at_once_are_one_write_with_one_answer(
    person: Callable[[str], User], turn: int
) -> None:
    token = ApiToken.issue(name="race", user=person("reviewer"))
    start = Barrier(4)

    def send(_: int) -> Any:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
        start.wait(10)
        try:
            answer = client.post(
                "/api/v1/adapters/", ADAPTER, format="json", headers={"Idempotency-Key": "race"}
            )
            return answer.status_code, answer.json()["slug"]
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(send, range(4)))
    assert answers == [(201, "northfold-trio-140")] * 4
    assert (Adapter.objects.count(), Write.objects.count()) == (1, 1)
