"""Reference devices become known with the first run that names them."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from catalog.models import Device
from measurements.actions import accept_run
from measurements.confined.work import MOST_DEVICES
from measurements.models import Run
from measurements.processing import compute
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

RUNS = "/api/v1/runs/"
CHARGE = b"time_s,voltage_v,current_a,battery_percent\n" + b"".join(
    b"%d,20,2,%d\n" % (at, at // 36) for at in range(0, 3610, 10)
)


@pytest.fixture
def bench(person: Callable[[str], User]) -> APIClient:
    make_adapter()
    client = APIClient()
    client.force_authenticate(person("reviewer"))
    return client


def sent(client: APIClient, kind: str, content: bytes, **fields: str) -> Run:

    answer = client.post(
        RUNS,
        {
            "adapter": "northfold-solo-65",
            "kind": kind,
            "file": SimpleUploadedFile("log.csv", content, "text/csv"),
            **fields,
        },
    )
    assert answer.status_code in (200, 202), answer.content
    return Run.objects.get(pk=answer.json()["id"])


def test_a_charge_names_a_new_device_and_again_by_slug(bench: APIClient) -> None:
    run = sent(bench, "charge", CHARGE, device="Invented  Folio 14")
    device = Device.objects.get()
    assert (device.name, device.slug) == ("Invented Folio 14", "invented-folio-14")
    assert run.method_fields == {"device": "invented-folio-14"}
    assert run.events.filter(what="device added", detail="Invented Folio 14").exists()
    assert compute(run.pk) == "ready"
    for spelling in ("invented-folio-14", "INVENTED folio 14"):
        assert sent(bench, "charge", CHARGE, device=spelling).pk == run.pk
    assert Device.objects.count() == 1


def test_a_device_that_cannot_be_one_is_refused_with_its_field(bench: APIClient) -> None:
    for device in ("", "x" * 101):
        answer = bench.post(
            RUNS, {"adapter": "northfold-solo-65", "kind": "charge", "device": device}
        )
        assert answer.status_code == 400
        assert "device" in [error["field"] for error in answer.json()["errors"]]
    assert not Device.objects.exists()


def test_a_table_of_pairs_names_new_devices(bench: APIClient) -> None:
    rows = b"device,port,voltage_v,current_a\nInvented slate,C1,9,2\nInvented folio,C1,20,3\n"
    run = sent(bench, "device-match", rows)
    assert compute(run.pk) == "ready"
    assert sorted(Device.objects.values_list("slug", flat=True)) == [
        "invented-folio",
        "invented-slate",
    ]
    assert run.events.filter(what="device added").count() == 2


def test_a_column_of_anything_does_not_fill_the_catalogue(bench: APIClient) -> None:
    rows = "device,port,voltage_v,current_a\n" + "".join(
        f"thing {number},C1,5,1\n" for number in range(MOST_DEVICES + 1)
    )
    run = sent(bench, "device-match", rows.encode())
    assert compute(run.pk) == "rejected"
    run.refresh_from_db()
    assert "at most 100" in run.problems[0]["detail"]
    assert not Device.objects.exists()


def test_a_device_of_a_file_that_is_never_accepted_is_in_no_list(
    bench: APIClient, person: Callable[[str], User]
) -> None:
    def listed() -> list[str]:
        return [item["slug"] for item in bench.get("/api/v1/devices/").json()["results"]]

    run = sent(bench, "charge", CHARGE, device="Invented folio")
    sent(bench, "charge", b"nothing to read", device="Mispelled folio")
    assert listed() == []
    assert compute(run.pk) == "ready"
    accept_run(run, by=person("editor"))
    assert listed() == ["invented-folio"]


def test_writing_a_device_down_takes_over_what_uploads_named(bench: APIClient) -> None:
    sent(bench, "charge", CHARGE, device="Invented folio")
    answer = bench.post("/api/v1/devices/", {"name": "Invented Folio", "battery_wh": 60}, "json")
    assert answer.status_code == 201, answer.content
    device = Device.objects.get()
    assert (device.slug, device.name, device.battery_wh) == ("invented-folio", "Invented Folio", 60)
    assert device.confirmed
