"""Charges of an invented laptop, made to be laid over each other."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User

from catalog.actions import PortFacts, save_adapter
from catalog.models import Adapter, Device, Maker
from measurements.actions import RunFacts, accept_run, receive_run
from measurements.models import Run
from measurements.processing import compute

CAPACITY_AH = 2.0
BATTERY_V = 20.0


@pytest.fixture
def laptop() -> Device:
    return Device.objects.create(slug="laptop", name="Invented laptop", battery_wh=40)


def adapter(name: str) -> Adapter:
    maker, _ = Maker.objects.get_or_create(name="Invented", defaults={"slug": "invented"})
    return save_adapter(
        Adapter(maker=maker, name=name, rated_power_w=65),
        ports=[PortFacts("C1", "usb-c", 65.0), PortFacts("C2", "usb-c", 65.0)],
    )


def log(amperes: float, *, start: float = 2.0) -> bytes:
    """A charge at constant current from `start` to 100 %, then a minute of rest."""
    rows = ["time_s,voltage_v,current_a,battery_percent"]
    seconds = int((100 - start) / 100 * CAPACITY_AH / amperes * 3600)
    for at in range(0, seconds + 60, 10):
        level = min(100.0, start + 100 * at / 3600 * amperes / CAPACITY_AH)
        rows.append(f"{at},{BATTERY_V},{amperes if level < 100 else 0:.4f},{int(level)}")
    return "\n".join([*rows, ""]).encode()


@pytest.fixture
def charged(person: Callable[[str], User], laptop: Device) -> Callable[..., Run]:
    editor = person("editor")

    def make(tested: Adapter, content: bytes, **facts: Any) -> Run:
        said = {"method_fields": {"device": laptop.slug}, **facts}
        received = receive_run(
            RunFacts(adapter=tested, kind="charge", **said),
            chunks=[content],
            file_name="charge.csv",
            by=editor,
        )
        assert compute(received.run.pk) == "ready", Run.objects.get(pk=received.run.pk).problems
        received.run.refresh_from_db()
        return accept_run(received.run, by=editor)

    return make
