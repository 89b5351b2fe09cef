"""The three-part entry of an adapter."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError
from django.test import Client

from catalog.actions import ClaimFacts, PortFacts
from catalog.forms import AdapterEntry
from catalog.models import Adapter, Maker
from tests.factories.catalog import make_adapter
from tests.factories.measurements import receive

pytestmark = pytest.mark.django_db


def sent(**changes: Any) -> dict[str, Any]:
    """What a browser sends for a new adapter with one port."""
    data = {
        "maker_name": "Northfold",
        "name": "Duo 65",
        "rated_power_w": "65",
        "supply": "adaptive",
        "enclosure": "plastic",
        "ports-TOTAL_FORMS": "6",
        "ports-INITIAL_FORMS": "0",
        "claims-TOTAL_FORMS": "8",
        "claims-INITIAL_FORMS": "0",
        "ports-0-label": "C1",
        "ports-0-connector": "usb-c",
        "ports-0-rated_power_w": "65",
    }
    return {**data, **{name.replace("__", "-"): value for name, value in changes.items()}}


def resent(adapter: Adapter, **changes: Any) -> dict[str, Any]:
    """What a browser sends when the form of an adapter is saved."""
    entry = AdapterEntry(adapter)
    data: dict[str, Any] = {}
    for form in (entry.form, *entry.ports, *entry.claims):
        for field in form:
            if (value := field.value()) is not None:
                data[field.html_name] = value
    for rows in (entry.ports, entry.claims):
        for field in rows.management_form:
            data[field.html_name] = field.value()
    return {**data, **{name.replace("__", "-"): value for name, value in changes.items()}}


def test_a_new_adapter_comes_with_its_maker_ports_and_claims() -> None:
    entry = AdapterEntry(
        Adapter(),
        data=sent(
            claims__0__text="20 V 3.25 A",
            claims__0__port="C1",
            claims__0__voltage_v="20",
            claims__0__current_a="3.25",
        ),
    )

    assert entry.is_valid(), (entry.form.errors, entry.ports.errors, entry.claims.errors)
    assert entry.save()
    adapter = Adapter.objects.get()
    assert str(adapter) == "Northfold Duo 65"
    assert [port.label for port in adapter.ports.all()] == ["C1"]
    assert [(claim.text, claim.current_a) for claim in adapter.claims.all()] == [
        ("20 V 3.25 A", 3.25)
    ]


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"mains_min_v": "100"}, "mains_max_v", "Give this too"),
        ({"length_mm": "60", "width_mm": "50"}, "height_mm", "Give this too"),
        ({"price": "20"}, "currency", "Give this too"),
        ({"price": "20", "currency": "€"}, "currency", "three letters"),
        ({"rated_power_w": "0"}, "__all__", "between 0 and 10,000 W"),
        ({"mains_min_v": "240", "mains_max_v": "100"}, "__all__", "lower to its higher end"),
        ({"name": ""}, "name", "required"),
    ],
)
def test_a_fact_that_cannot_be_is_refused_where_it_stands(
    changes: dict[str, str], field: str, sentence: str
) -> None:
    entry = AdapterEntry(Adapter(), data=sent(**changes))

    assert not entry.is_valid()
    assert sentence in str(entry.form.errors[field])


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"ports__1__connector": "usb-a"}, "Give the label"),
        ({"ports__1__label": "A1"}, "Choose the connector"),
        ({"ports__1__label": "C1", "ports__1__connector": "usb-a"}, "called C1 already"),
        ({"claims__0__port": "C1"}, "Give the words as printed"),
        ({"claims__0__text": "20 V", "claims__0__voltage_v": "20"}, "voltage and current"),
        ({"claims__0__text": "20 V", "claims__0__port": "C9"}, "No port is called C9"),
    ],
)
def test_a_row_that_is_not_whole_is_refused_where_it_stands(
    changes: dict[str, str], sentence: str
) -> None:
    entry = AdapterEntry(Adapter(), data=sent(**changes))

    assert not entry.is_valid()
    assert entry.has_row_errors
    assert sentence in str(entry.ports.errors) + str(entry.claims.errors)


def shared(**changes: str) -> dict[str, Any]:
    """A browser's new adapter of two ports and one sharing claim."""
    return sent(
        ports__1__label="A1",
        ports__1__connector="usb-a",
        claims__0__text="C1 45 W",
        **{
            f"claims__0__{name}": value
            for name, value in {
                **{"port": "C1", "combination": "c1 + a1", "power_w": "45"},
                **changes,
            }.items()
        },
    )


def test_a_sharing_claim_is_read_and_shown_again() -> None:
    entry = AdapterEntry(Adapter(), data=shared())

    assert entry.is_valid(), entry.claims.errors
    assert entry.save()
    claim = Adapter.objects.get().claims.get()
    assert (claim.combination, claim.power_w) == ("C1+A1", 45.0)
    again = AdapterEntry(Adapter.objects.get()).claims[0]
    assert (again["combination"].value(), again["power_w"].value()) == ("C1+A1", 45.0)


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"combination": ""}, "combination", "Name the ports in use"),
        ({"power_w": ""}, "power_w", "Give the power"),
        ({"power_w": "0"}, "power_w", "greater than or equal to"),
        ({"port": ""}, "port", "Say which port"),
        ({"port": "C9"}, "port", "No port is called C9"),
        ({"combination": "C1+C9"}, "combination", "No port is labelled “C9”"),
        ({"combination": "C1"}, "combination", "at least two ports"),
        ({"combination": "A1+A1"}, "combination", "stands twice"),
    ],
)
def test_a_sharing_claim_that_is_not_whole_is_marked_in_its_row(
    changes: dict[str, str], field: str, sentence: str
) -> None:
    entry = AdapterEntry(Adapter(), data=shared(**changes))

    assert not entry.is_valid()
    assert sentence in str(entry.claims.errors[0][field])


def test_every_claim_that_needs_mending_is_marked_at_once() -> None:
    data = shared(combination="C1+C9") | {"claims-1-text": "20 V", "claims-1-voltage_v": "20"}
    entry = AdapterEntry(Adapter(), data=data)

    assert not entry.is_valid()
    assert [sorted(errors) for errors in entry.claims.errors[:2]] == [
        ["combination"],
        ["current_a"],
    ]


def test_there_are_rows_to_spare_however_many_claims_stand() -> None:
    adapter = make_adapter(claims=tuple(ClaimFacts(f"line {number}") for number in range(9)))

    entry = AdapterEntry(adapter, data=resent(adapter, claims__9__text="one more"))

    assert entry.is_valid(), entry.claims.errors
    assert entry.save()
    assert adapter.claims.count() == 10


def test_a_name_that_the_maker_has_already_is_said_in_words() -> None:
    make_adapter("Duo 65")
    entry = AdapterEntry(Adapter(), data=sent())

    assert entry.is_valid()
    assert not entry.save()
    assert entry.form.non_field_errors() == ["Northfold has an adapter called Duo 65 already."]


def test_saving_a_form_untouched_changes_nothing() -> None:
    adapter = make_adapter(
        mass_g=90.0,
        ports=(PortFacts("C1", "usb-c", 65.0, ("usb-pd-pps",)), PortFacts("A1", "usb-a")),
        claims=(ClaimFacts("20 V 3.25 A", "C1", 20.0, 3.25),),
    )
    before = Adapter.objects.values().get()
    ports = list(adapter.ports.values("pk", "label", "rated_power_w", "protocols__slug"))

    entry = AdapterEntry(adapter, data=resent(adapter))

    assert entry.is_valid(), (entry.form.errors, entry.ports.errors, entry.claims.errors)
    assert entry.save()
    after = Adapter.objects.values().get()
    assert {**after, "changed_at": None} == {**before, "changed_at": None}
    assert list(adapter.ports.values("pk", "label", "rated_power_w", "protocols__slug")) == ports
    assert [claim.text for claim in adapter.claims.all()] == ["20 V 3.25 A"]


def test_an_entry_changed_by_someone_else_meanwhile_is_not_overwritten() -> None:
    adapter = make_adapter()
    data = resent(adapter, name="Solo 66")
    other = Adapter.objects.get()
    other.mass_g = 91.0
    other.save()

    entry = AdapterEntry(Adapter.objects.get(), data=data)

    assert not entry.is_valid()
    assert "Someone else changed this entry" in str(entry.form.non_field_errors())


def test_emptying_the_row_of_a_port_with_runs_is_refused_with_the_reason() -> None:
    adapter = make_adapter()
    receive(adapter, port=adapter.ports.get())
    data = resent(adapter, ports__0__label="", ports__0__connector="", ports__0__rated_power_w="")

    entry = AdapterEntry(adapter, data=data)

    assert entry.is_valid(), (entry.form.errors, entry.ports.errors)
    assert not entry.save()
    assert "A port with runs cannot be taken away" in str(entry.form.non_field_errors())


def test_an_adapter_with_more_ports_than_rows_keeps_them_all() -> None:
    many = tuple(PortFacts(f"C{number}", "usb-c") for number in range(1, 9))
    adapter = make_adapter(ports=many)

    entry = AdapterEntry(adapter, data=resent(adapter))

    assert entry.is_valid()
    assert entry.save()
    assert adapter.ports.count() == 8


def test_an_entry_that_somebody_else_just_wrote_is_refused_not_an_error(
    client: Client, reviewer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def collide(*_: Any, **__: Any) -> Adapter:
        raise IntegrityError("duplicate key value")

    monkeypatch.setattr("catalog.forms.adapters.save_adapter", collide)
    client.force_login(reviewer)
    answer = client.post("/adapters/new/", sent())
    assert answer.status_code == 400
    assert "Somebody else wrote an entry of this name just now" in answer.content.decode()
    assert not Maker.objects.exists()
