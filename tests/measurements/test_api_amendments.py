"""Amendments over HTTP: what is named changes, every fault is named."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from catalog.actions import PortFacts
from measurements.actions import (
    withdraw_run,
)
from measurements.models import Run
from tests.factories.api import assert_problem, client_of, faulty_fields
from tests.factories.catalog import make_adapter
from tests.factories.measurements import (
    make_meter,
    ready,
)
from tests.measurements.test_amendments import MOMENT

pytestmark = pytest.mark.django_db


def call(run: Run) -> str:
    return f"/api/v1/runs/{run.pk}/amend/"


def test_the_api_amends_what_is_named_and_leaves_the_rest(editor: User) -> None:
    adapter = make_adapter(ports=(PortFacts("C1", "usb-c", 65.0), PortFacts("C2", "usb-c", 30.0)))
    meter = make_meter()
    run = ready(
        adapter,
        port=adapter.ports.get(label="C1"),
        ambient_c=23.1,
        mains_hz=50.0,
        instruments=(meter,),
        measured_at=MOMENT + timedelta(microseconds=5),
        note="first\r\nsecond",
    )
    before = run.conditions
    changes = {"mains_v": 115, "mains_hz": None, "port": "C2", "instruments": None}
    answer = client_of(editor).post(
        call(run), {"reason": "The other supply.", "changes": changes}, format="json"
    )
    assert answer.status_code == 200, answer.content
    shown = answer.json()
    assert (shown["id"], shown["state"], shown["standing"]) == (
        str(run.pk),
        "received",
        "provisional",
    )
    assert (shown["mains_v"], shown["mains_hz"], shown["port"]) == (115.0, None, "C2")
    now = Run.objects.get().conditions
    assert now == {**before, "mains_v": 115.0, "mains_hz": None, "port": "C2", "instruments": []}


@pytest.mark.parametrize(
    ("changes", "faulty"),
    [
        ({}, {"changes"}),
        ([], {"changes"}),
        ("x", {"changes"}),
        ({"mains_v": "115"}, {"changes.mains_v"}),
        ({"mains_v": True}, {"changes.mains_v"}),
        ({"mains_v": 10**400}, {"changes.mains_v"}),
        ({"mains_v": 150}, {"changes.mains_v"}),
        ({"mains_v": None}, {"changes.mains_v"}),
        ({"mains_v": [1]}, {"changes.mains_v"}),
        ({"ambient_c": 1000}, {"changes.ambient_c"}),
        ({"kind": "efficiency", "file": "x"}, {"changes.kind", "changes.file"}),
        ({"standing": "accepted", "fence": 1}, {"changes.standing", "changes.fence"}),
        ({"adapter": "none-such"}, {"changes.adapter"}),
        ({"adapter": None}, {"changes.adapter"}),
        ({"port": "Z9"}, {"changes.port"}),
        ({"port": 1}, {"changes.port"}),
        ({"instruments": "Bench meter"}, {"changes.instruments"}),
        ({"instruments": ["none such"]}, {"changes.instruments"}),
        ({"instruments": [{}]}, {"changes.instruments"}),
        ({"measured_at": "yesterday"}, {"changes.measured_at"}),
        ({"measured_at": "2999-01-01T00:00Z"}, {"changes.measured_at"}),
        ({"note": "nul \0"}, {"changes.note"}),
        ({"unit": "\ud800"}, {"changes.unit"}),
        ({"note": {"a": [[]]}}, {"changes.note"}),
        ({"x" * 500: 1}, {"changes." + "x" * 80}),
    ],
)
def test_the_api_names_every_field_that_is_wrong(
    editor: User, changes: Any, faulty: set[str]
) -> None:
    run = ready(make_adapter())
    before = Run.objects.values().get()
    body = json.dumps({"reason": "because", "changes": changes})
    answer = client_of(editor).generic("POST", call(run), body, "application/json")
    assert faulty_fields(answer) == faulty
    assert Run.objects.values().get() == before


@pytest.mark.parametrize("reason", [None, "", "  ", 5, "x" * 501])
def test_the_api_asks_for_a_reason(editor: User, reason: Any) -> None:
    run = ready(make_adapter())
    body = {"reason": reason, "changes": {"mains_v": 115}}
    assert faulty_fields(client_of(editor).post(call(run), body, format="json")) == {"reason"}


def test_the_api_refuses_what_the_state_does_not_allow(editor: User, reviewer: User) -> None:
    run = ready(make_adapter())
    same = {"reason": "because", "changes": {"mains_v": 230}}
    assert_problem(client_of(editor).post(call(run), same, format="json"), 409, name="conflict")
    assert_problem(client_of(reviewer).post(call(run), same, format="json"), 403)
    withdraw_run(run, by=editor, reason="broken")
    other = {"reason": "because", "changes": {"mains_v": 115}}
    assert_problem(client_of(editor).post(call(run), other, format="json"), 409, name="conflict")
