"""Values that compare adapters follow every change of what stands."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from catalog.actions import PortFacts, save_adapter
from catalog.models import Adapter, Device, Maker
from measurements import history
from measurements.actions import RunFacts, accept_run, receive_run, withdraw_run
from measurements.models import Run, Value
from measurements.processing import compute
from measurements.queries import port_capabilities

pytestmark = pytest.mark.django_db

WATTS = {"laptop": 20.0, "tablet": 20.0, "phone": 9.0}


@pytest.fixture(autouse=True)
def devices() -> None:
    for name in WATTS:
        Device.objects.create(slug=name, name=name.capitalize())


def adapter(name: str, *, publish_on: date | None = None) -> Adapter:
    maker, _ = Maker.objects.get_or_create(name="Invented", defaults={"slug": "invented"})
    return save_adapter(
        Adapter(maker=maker, name=name, rated_power_w=65, publish_on=publish_on),
        ports=[PortFacts("C1", "usb-c", 65.0)],
    )


def match_file(amperes: dict[str, float]) -> bytes:
    rows = [f"{device},C1,{WATTS[device]},{amps}" for device, amps in amperes.items()]
    return "\n".join(["device,port,voltage_v,current_a", *rows, ""]).encode()


def matched(tested: Adapter, amperes: dict[str, float], *, by: User) -> Run:
    received = receive_run(
        RunFacts(adapter=tested, kind="device-match"),
        chunks=[match_file(amperes)],
        file_name="match.csv",
        by=by,
    )
    assert compute(received.run.pk) == "ready"
    return Run.objects.get(pk=received.run.pk)


def rate_of(tested: Adapter) -> float | None:
    rows = Value.objects.current().filter(adapter=tested, metric="match-rate")
    return rows.values_list("value", flat=True).first()


FULL = {"laptop": 3.0, "tablet": 2.0, "phone": 2.0}


def test_a_better_adapter_changes_the_rate_of_one_accepted_before(
    person: Callable[[str], User],
) -> None:
    editor = person("editor")
    first, second = adapter("One"), adapter("Two")
    accept_run(matched(first, FULL, by=editor), by=editor)
    assert rate_of(first) == 100.0

    better = accept_run(matched(second, {**FULL, "laptop": 4.0}, by=editor), by=editor)
    assert rate_of(second) == 100.0
    assert rate_of(first) == pytest.approx(200 / 3)
    # What readers saw before is kept as a fact of its time.
    kept = Value.objects.filter(adapter=first, metric="match-rate").order_by("pk")
    assert [row.value for row in kept] == [100.0, pytest.approx(200 / 3)]
    assert kept[0].current_until is not None

    withdraw_run(better, by=editor, reason="The wrong cable was used.")
    assert rate_of(first) == 100.0
    assert rate_of(second) is None


def test_a_provisional_run_shows_its_rate_and_changes_no_others(
    person: Callable[[str], User],
) -> None:
    editor = person("editor")
    first, second = adapter("One"), adapter("Two")
    accept_run(matched(first, FULL, by=editor), by=editor)
    run = matched(second, {**FULL, "laptop": 2.0}, by=editor)
    (shown,) = run.values.filter(metric="match-rate")
    assert shown.value == pytest.approx(200 / 3)
    assert shown.current_from is None
    assert rate_of(first) == 100.0


def test_an_embargoed_adapter_is_measured_by_the_others_and_not_they_by_it(
    person: Callable[[str], User],
) -> None:
    editor = person("editor")
    open_one = adapter("Open")
    hidden = adapter("Hidden", publish_on=timezone.now().date() + timedelta(days=3))
    accept_run(matched(open_one, FULL, by=editor), by=editor)
    accept_run(matched(hidden, {**FULL, "laptop": 4.0}, by=editor), by=editor)
    assert rate_of(open_one) == 100.0
    assert rate_of(hidden) == 100.0

    Adapter.objects.filter(pk=hidden.pk).update(publish_on=timezone.now().date())
    history.refresh_all()
    assert rate_of(open_one) == pytest.approx(200 / 3)


def test_computing_again_changes_nothing(person: Callable[[str], User]) -> None:
    editor = person("editor")
    first, second = adapter("One"), adapter("Two")
    run = accept_run(matched(first, FULL, by=editor), by=editor)
    accept_run(matched(second, {**FULL, "laptop": 4.0}, by=editor), by=editor)
    before = list(Value.objects.order_by("pk").values())
    assert compute(run.pk, again=True) == "ready"
    history.refresh_all()
    assert list(Value.objects.order_by("pk").values()) == before


def test_a_scan_puts_the_runs_that_read_it_back_into_the_queue(
    person: Callable[[str], User], bell: list[str], django_capture_on_commit_callbacks: Any
) -> None:
    editor = person("editor")
    tested = adapter("One")
    sweep = "output_nominal_v,input_power_w,output_voltage_v,output_current_a\n" + "".join(
        f"5,{5 * amps / 0.9:.4f},5,{amps}\n" for amps in (0.6, 1.2, 1.8, 2.4)
    )
    received = receive_run(
        RunFacts(adapter=tested, kind="efficiency", mains_v=230.0),
        chunks=[sweep.encode()],
        file_name="sweep.csv",
        by=editor,
    )
    assert compute(received.run.pk) == "ready"
    run = accept_run(received.run, by=editor)
    assert run.flags.filter(code="assumed-rating").exists()

    scan = receive_run(
        RunFacts(adapter=tested, kind="port-scan"),
        # A fixed supply of 5 V and 2.4 A.
        chunks=[b"port,position,word\nC1,1,0x000190F0\n"],
        file_name="scan.csv",
        by=editor,
    )
    assert compute(scan.run.pk) == "ready"
    bell.clear()
    with django_capture_on_commit_callbacks(execute=True):
        accept_run(scan.run, by=editor)
    assert bell == [str(run.pk)]
    run.refresh_from_db()
    assert run.state == Run.State.RECEIVED
    assert Value.objects.current().filter(run=run).exists()
    assert compute(run.pk) == "ready"
    assert not run.flags.filter(code="assumed-rating").exists()


def test_withdrawing_a_scan_brings_back_what_stood_before_it(
    person: Callable[[str], User],
) -> None:
    editor = person("editor")
    tested = adapter("One")
    sweep = "output_nominal_v,input_power_w,output_voltage_v,output_current_a\n" + "".join(
        f"20,{20 * 3.25 * load / 0.9:.4f},20,{3.25 * load}\n" for load in (0.25, 0.5, 0.75, 1)
    )
    received = receive_run(
        RunFacts(adapter=tested, kind="efficiency", mains_v=230.0),
        chunks=[sweep.encode()],
        file_name="sweep.csv",
        by=editor,
    )
    assert compute(received.run.pk) == "ready"
    run = accept_run(received.run, by=editor)

    def standing() -> dict[tuple[str, str], float]:
        rows = Value.objects.current().filter(run=run)
        return {(row.metric, row.condition_key): row.value for row in rows}

    before = standing()
    assert ("average-efficiency", "line=high;output_v=20") in before
    scan = receive_run(
        RunFacts(adapter=tested, kind="port-scan"),
        # Fixed supplies of 5 V 3 A and 20 V 5 A: full load lies beyond what was measured.
        chunks=[b"port,position,word\nC1,1,0x0801912C\nC1,2,0x000641F4\n"],
        file_name="scan.csv",
        by=editor,
    )
    assert compute(scan.run.pk) == "ready"
    accepted = accept_run(scan.run, by=editor)
    assert compute(run.pk) == "ready"
    assert ("average-efficiency", "line=high;output_v=20") not in standing()

    withdraw_run(accepted, by=editor, reason="The wrong unit was scanned.")
    assert compute(run.pk) == "ready"
    assert standing() == before


def test_a_scan_of_protocols_alone_keeps_the_objects(person: Callable[[str], User]) -> None:
    editor = person("editor")
    tested = adapter("One")
    for content in (b"port,position,word\nC1,1,0x0801912C\n", b"port,protocol\nC1,bc-1-2-dcp\n"):
        received = receive_run(
            RunFacts(adapter=tested, kind="port-scan"),
            chunks=[content],
            file_name="scan.csv",
            by=editor,
        )
        assert compute(received.run.pk) == "ready"
        accept_run(received.run, by=editor)
    (port,) = port_capabilities(Adapter.objects.get(pk=tested.pk))
    assert [item.word for item in port.objects] == [0x0801912C]
    assert list(port.protocols) == ["bc-1-2-dcp"]
