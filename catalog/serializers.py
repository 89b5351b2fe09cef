"""Adapters, their ports and words to decode, as the API reads and writes them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from rest_framework import serializers

from catalog.actions import ClaimFacts, PortFacts
from catalog.models import Adapter, Device, LabelClaim, Port, Protocol, whole_combination
from catalog.power_delivery.words import LARGEST_COUNT, parse_word
from catalog.rest.fields import Body, NumberField, TextField, WordField

MAX_PORTS = 32
MAX_CLAIMS = 100

# Columns that the API reads and writes as they are, beside maker, dates, ports and claims.
PLAIN = (
    "name",
    "model_number",
    "rated_power_w",
    "supply",
    "mains_min_v",
    "mains_max_v",
    "length_mm",
    "width_mm",
    "height_mm",
    "mass_g",
    "enclosure",
    "plug",
)
DATES = ("released_on", "publish_on")
# Of a reference device, all that the API shows.
DEVICE = (
    *("slug", "name", "kind", "battery_wh", "max_power_w"),
    *("voltage_min_v", "voltage_max_v"),
)


def _length() -> NumberField:
    return NumberField(minimum=0.1, maximum=10_000, allow_null=True, required=False)


def _mains() -> NumberField:
    return NumberField(above=0, maximum=1000, allow_null=True, required=False)


class PortBody(Body):
    """One output. Power in W."""

    label = TextField(max_length=20)  # type: ignore[assignment]  # declared fields leave the class
    connector = WordField(choices=Port.Connector.choices)
    rated_power_w = NumberField(above=0, maximum=10_000, allow_null=True, required=False)
    protocols = serializers.ListField(
        child=TextField(max_length=60), max_length=100, required=False
    )

    def validate_protocols(self, slugs: list[str]) -> list[str]:
        """Refuse a protocol that the vocabulary does not have."""
        known = set(Protocol.objects.filter(slug__in=slugs).values_list("slug", flat=True))
        if missing := [slug for slug in slugs if slug not in known]:
            raise serializers.ValidationError(
                [f"The vocabulary of protocols has no “{slug}”." for slug in missing]
            )
        return slugs


class ClaimBody(Body):
    """What is printed on the label; `port` is one of the ports' labels or "". V, A and W.

    `power_w` is what the port keeps while the ports of `combination`, such as ``C1+C2``, are
    in use.
    """

    text = TextField(max_length=200)
    port = TextField(max_length=20, allow_blank=True, required=False, default="")
    voltage_v = NumberField(above=0, maximum=1000, allow_null=True, required=False)
    current_a = NumberField(above=0, maximum=1000, allow_null=True, required=False)
    combination = TextField(max_length=80, allow_blank=True, required=False, default="")
    power_w = NumberField(above=0, maximum=10_000, allow_null=True, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A shared power has its ports in use, its own port and its number."""
        combined, power_w = attrs["combination"], attrs.get("power_w")
        if combined and power_w is None:
            raise serializers.ValidationError(
                {"power_w": "Give the power that the port keeps while these are in use."}
            )
        if power_w is not None and not combined:
            raise serializers.ValidationError(
                {"combination": "Give the ports in use together, such as C1+C2."}
            )
        if combined and not attrs["port"]:
            raise serializers.ValidationError(
                {"port": "Say which port keeps the power while these are in use."}
            )
        return attrs


class AdapterBody(Body):
    """An adapter as it is written down. W, V, mm and g; dates as 2026-04-04."""

    maker = TextField(max_length=100)
    name = TextField(max_length=120)
    model_number = TextField(max_length=80, allow_blank=True, required=False)
    rated_power_w = NumberField(above=0, maximum=10_000)
    supply = WordField(choices=Adapter.Supply.choices, required=False)
    mains_min_v = _mains()
    mains_max_v = _mains()
    length_mm = _length()
    width_mm = _length()
    height_mm = _length()
    mass_g = NumberField(minimum=0.1, maximum=1_000_000, allow_null=True, required=False)
    enclosure = WordField(choices=Adapter.Enclosure.choices, required=False)
    plug = TextField(max_length=60, allow_blank=True, required=False)
    released_on = serializers.DateField(allow_null=True, required=False)
    publish_on = serializers.DateField(allow_null=True, required=False)
    ports = PortBody(many=True, max_length=MAX_PORTS)  # type: ignore[call-arg]  # many= makes a list
    claims = ClaimBody(many=True, max_length=MAX_CLAIMS, required=False)  # type: ignore[call-arg]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Port labels are the names that everything else calls a port by."""
        labels = [port["label"] for port in attrs["ports"]]
        if twice := sorted({label for label in labels if labels.count(label) > 1}):
            raise serializers.ValidationError(
                {"ports": [f"Two ports are labelled “{label}”." for label in twice]}
            )
        strays = {claim["port"] for claim in attrs.get("claims", ())} - {"", *labels}
        if strays:
            raise serializers.ValidationError(
                {"claims": [f"No port is labelled “{label}”." for label in sorted(strays)]}
            )
        if faults := _write_combinations(attrs.get("claims", ()), labels=labels):
            raise serializers.ValidationError({"claims": faults})
        return attrs


def _write_combinations(
    claims: Sequence[dict[str, Any]], *, labels: list[str]
) -> dict[str, dict[str, list[str]]]:
    """Write each claim's combination in the labels of the ports; the faults by position."""
    faults = {}
    for position, claim in enumerate(claims):
        if claim["combination"]:
            try:
                claim["combination"] = whole_combination(
                    claim["combination"], labels=labels, port=claim["port"]
                )
            except ValidationError as error:
                faults[str(position)] = {"combination": error.messages}
    return faults


class DeviceBody(Body):
    """A reference device. Wh, W and V; without a `slug` it gets one from its name."""

    name = TextField(max_length=100)
    slug = TextField(max_length=100, required=False)
    kind = TextField(max_length=60, allow_blank=True, required=False)
    battery_wh = NumberField(above=0, maximum=100_000, allow_null=True, required=False)
    max_power_w = NumberField(above=0, maximum=10_000, allow_null=True, required=False)
    voltage_min_v = NumberField(above=0, maximum=1000, allow_null=True, required=False)
    voltage_max_v = NumberField(above=0, maximum=1000, allow_null=True, required=False)


class WordList(serializers.Field[list[int], Any, list[str], Any]):
    """Power data objects as hexadecimal text; every one that is no word is named by its index."""

    schema = {
        "type": "array",
        "items": {"type": "string", "pattern": r"^\s*(0[xX][0-9A-Fa-f]{1,8}|[0-9A-Fa-f]{8})\s*$"},
        "minItems": 1,
        "maxItems": LARGEST_COUNT,
    }
    default_error_messages = {
        "type": 'Write a list of words, such as ["0x0001912C"].',
        "empty": "Send at least one word.",
        "many": "Send at most {most} words, those of one port; here are {count}.",
    }

    def to_internal_value(self, data: Any) -> list[int]:
        """The words as numbers, in their order."""
        if not isinstance(data, list):
            self.fail("type")
        if not data:
            self.fail("empty")
        if len(data) > LARGEST_COUNT:
            self.fail("many", most=LARGEST_COUNT, count=len(data))
        words, faults = [], {}
        for index, item in enumerate(data):
            try:
                words.append(_word(item))
            except ValueError as error:
                faults[str(index)] = [f"{error}."]
        if faults:
            raise serializers.ValidationError(faults)
        return words

    def to_representation(self, value: list[int]) -> list[str]:
        """The words as they are written."""
        return [f"0x{word:08X}" for word in value]


def _word(item: Any) -> int:
    """The word of a JSON value. Raises `ValueError` that says what to write."""
    if not isinstance(item, str):
        raise ValueError('Write the word as text of 8 hexadecimal digits, such as "0x0001912C"')
    return parse_word(item)


class DecodeBody(Body):
    """What a source advertises; the rated power is that of the port [W]."""

    words = WordList()
    rated_power_w = NumberField(minimum=0.1, maximum=10_000, allow_null=True, required=False)


def ports_to_write(said: dict[str, Any]) -> list[PortFacts]:
    """The ports of a validated body."""
    return [
        PortFacts(
            label=port["label"],
            connector=port["connector"],
            rated_power_w=port.get("rated_power_w"),
            protocols=tuple(port.get("protocols", ())),
        )
        for port in said["ports"]
    ]


def claims_to_write(said: dict[str, Any]) -> list[ClaimFacts] | None:
    """The claims of a validated body; None when it says nothing of them."""
    if "claims" not in said:
        return None
    return [
        ClaimFacts(
            text=claim["text"],
            port=claim["port"],
            voltage_v=claim.get("voltage_v"),
            current_a=claim.get("current_a"),
            combination=claim["combination"],
            power_w=claim.get("power_w"),
        )
        for claim in said["claims"]
    ]


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def port_json(port: Port) -> dict[str, Any]:
    """A port as it is written."""
    return {
        "label": port.label,
        "connector": port.connector,
        "rated_power_w": port.rated_power_w,
        "protocols": sorted(protocol.slug for protocol in port.protocols.all()),
    }


def claim_json(claim: LabelClaim, *, label: str) -> dict[str, Any]:
    """A label claim as it is written; `label` is its port's, or ""."""
    return {
        "text": claim.text,
        "port": label,
        "voltage_v": claim.voltage_v,
        "current_a": claim.current_a,
        "combination": claim.combination,
        "power_w": claim.power_w,
    }


def device_json(device: Device) -> dict[str, Any]:
    """A reference device as the API shows it."""
    return {name: getattr(device, name) for name in DEVICE}


def adapter_fields(adapter: Adapter) -> dict[str, Any]:
    """All that `AdapterBody` reads, as it stands now: what a change starts from.

    No query when `ports__protocols`, `claims` and `maker` were fetched with the adapter.
    """
    ports = sorted(adapter.ports.all(), key=lambda port: (port.position, port.pk))
    labels = {port.pk: port.label for port in ports}
    return {
        "maker": adapter.maker.name,
        **{name: getattr(adapter, name) for name in PLAIN},
        **{name: _day(getattr(adapter, name)) for name in DATES},
        "ports": [port_json(port) for port in ports],
        "claims": [
            claim_json(claim, label=labels.get(claim.port_id or 0, ""))
            for claim in sorted(adapter.claims.all(), key=lambda claim: claim.pk)
        ],
    }


def adapter_json(adapter: Adapter) -> dict[str, Any]:
    """An adapter as the API shows it."""
    return {"slug": adapter.slug, **adapter_fields(adapter)}
