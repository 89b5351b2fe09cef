"""Rows of an adapter's entry: its ports and what its label claims."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from catalog.actions import ClaimFacts, PortFacts
from catalog.models import Adapter, Port, Protocol, whole_combination

PORT_ROWS = 6
CLAIM_ROWS = 8
SPARE_ROWS = 2


class PortRow(forms.Form):
    """One port; a row without anything in it is left out."""

    label = forms.CharField(required=False, max_length=20, widget=forms.TextInput({"size": 6}))
    connector = forms.ChoiceField(choices=[("", "–"), *Port.Connector.choices], required=False)
    rated_power_w = forms.FloatField(label="Rated power, W", required=False, min_value=0.1)
    protocols = forms.ModelMultipleChoiceField(
        Protocol.objects.order_by("name"),
        to_field_name="slug",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def clean(self) -> dict[str, Any]:
        """A port has a label and a connector."""
        cleaned = super().clean() or self.cleaned_data
        if any(cleaned.get(name) for name in self.fields):
            for name, sentence in (
                ("label", "Give the label on the body, or a short one such as C1."),
                ("connector", "Choose the connector, or clear the row."),
            ):
                if not cleaned.get(name) and name not in self.errors:
                    self.add_error(name, sentence)
        return cleaned

    def facts(self) -> PortFacts | None:
        """The port to be written; None for an empty row."""
        cleaned = self.cleaned_data
        if not cleaned.get("label"):
            return None
        return PortFacts(
            label=cleaned["label"],
            connector=cleaned["connector"],
            rated_power_w=cleaned["rated_power_w"],
            protocols=tuple(protocol.slug for protocol in cleaned["protocols"]),
        )


class ClaimRow(forms.Form):
    """One line of the label; a row without anything in it is left out."""

    text = forms.CharField(
        label="As printed", required=False, max_length=200, widget=forms.TextInput({"size": 26})
    )
    port = forms.CharField(
        label="Port, if any", required=False, max_length=20, widget=forms.TextInput({"size": 6})
    )
    voltage_v = forms.FloatField(label="Voltage, V", required=False, min_value=0.1)
    current_a = forms.FloatField(label="Current, A", required=False, min_value=0.001)
    combination = forms.CharField(
        label="Ports in use",
        required=False,
        max_length=80,
        widget=forms.TextInput({"size": 9}),
    )
    power_w = forms.FloatField(label="Power then, W", required=False, min_value=0.1)

    def clean(self) -> dict[str, Any]:
        """A claim has its text, a voltage its current, ports in use their power."""
        cleaned = super().clean() or self.cleaned_data
        given = {name for name in self.fields if cleaned.get(name) not in (None, "")}
        if given and "text" not in given:
            self.add_error("text", "Give the words as printed, or clear the row.")
        if len(given & {"voltage_v", "current_a"}) == 1:
            missing = "current_a" if "voltage_v" in given else "voltage_v"
            if missing not in self.errors:
                self.add_error(missing, "Give voltage and current, or neither.")
        if given & {"combination", "power_w"}:
            for name, sentence in (
                ("port", "Say which port has this power while these are in use."),
                ("combination", "Name the ports in use, such as C1+C2."),
                ("power_w", "Give the power that the port has while these are in use."),
            ):
                if name not in given and name not in self.errors:
                    self.add_error(name, sentence)
        return cleaned

    def look_up(self, labels: Collection[str]) -> None:
        """Mark ports that are not among `labels`; write the others as these do."""
        port = self.cleaned_data.get("port", "")
        if port and port not in labels:
            self.add_error("port", f"No port is called {port}; see the rows above.")
        elif used := self.cleaned_data.get("combination"):
            try:
                self.cleaned_data["combination"] = whole_combination(used, labels=labels, port=port)
            except ValidationError as error:
                self.add_error("combination", error)

    def facts(self) -> ClaimFacts | None:
        """The claim to be written; None for an empty row."""
        return ClaimFacts(**self.cleaned_data) if self.cleaned_data.get("text") else None


def port_rows(adapter: Adapter, *, data: Mapping[str, Any] | None) -> Any:
    """The rows of an adapter's ports, as sent or as they stand."""
    there = [] if adapter.pk is None else _ports_of(adapter)
    return _rows(PortRow, there, least=PORT_ROWS)(data, prefix="ports", initial=there)


def claim_rows(adapter: Adapter, *, data: Mapping[str, Any] | None) -> Any:
    """The rows of an adapter's label claims, as sent or as they stand."""
    there = [] if adapter.pk is None else _claims_of(adapter)
    return _rows(ClaimRow, there, least=CLAIM_ROWS)(data, prefix="claims", initial=there)


def _rows(row: type[forms.Form], there: list[dict[str, Any]], *, least: int) -> Any:
    """A formset class of at least `least` rows, with some to spare for what is added."""
    total = max(least, len(there) + SPARE_ROWS)
    return forms.formset_factory(
        row, extra=total - len(there), max_num=total, absolute_max=total, validate_max=True
    )


def _ports_of(adapter: Adapter) -> list[dict[str, Any]]:
    ports = adapter.ports.order_by("position").prefetch_related("protocols")
    return [
        {
            "label": port.label,
            "connector": port.connector,
            "rated_power_w": port.rated_power_w,
            "protocols": [protocol.slug for protocol in port.protocols.all()],
        }
        for port in ports
    ]


def _claims_of(adapter: Adapter) -> list[dict[str, Any]]:
    claims = adapter.claims.select_related("port").order_by("pk")
    return [
        {
            "text": claim.text,
            "port": claim.port.label if claim.port else "",
            "voltage_v": claim.voltage_v,
            "current_a": claim.current_a,
            "combination": claim.combination,
            "power_w": claim.power_w,
        }
        for claim in claims
    ]
