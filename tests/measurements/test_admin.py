"""The bench behind the counter: measured things are only looked at."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("model", ["run", "rawfile", "value", "runevent"])
def test_what_was_measured_can_be_read_and_never_written(client: Client, model: str) -> None:
    keeper = User.objects.create_superuser("keeper")
    run = accepted(make_adapter(), by=keeper)
    key = {
        "run": run.pk,
        "rawfile": run.raw_id,
        "value": run.values.values_list("pk", flat=True)[0],
        "runevent": run.events.values_list("pk", flat=True)[0],
    }[model]
    client.force_login(keeper)

    assert client.get(reverse(f"admin:measurements_{model}_changelist")).status_code == 200
    change = reverse(f"admin:measurements_{model}_change", args=[key])
    assert client.get(change).status_code == 200
    assert client.post(change, {}).status_code == 403
    assert client.get(reverse(f"admin:measurements_{model}_add")).status_code == 403
    assert client.post(reverse(f"admin:measurements_{model}_delete", args=[key])).status_code == 403
