"""The shapes in which the catalogue answers, for the API's description."""

from __future__ import annotations

from rest_framework import serializers

from catalog.models import Adapter, Port
from catalog.rest.calls import SLUG, Answer


def slug_field(*, allow_null: bool = False) -> serializers.Field[str, str, str, str]:
    """The name of a thing in its address."""
    return serializers.RegexField(SLUG, allow_null=allow_null)


def _number() -> serializers.FloatField:
    return serializers.FloatField(allow_null=True)


class PortAnswer(Answer):
    """One output as it is written down. W."""

    label = serializers.CharField()  # type: ignore[assignment]  # a member of this name is meant
    connector = serializers.ChoiceField(Port.Connector.values)
    rated_power_w = _number()
    protocols = serializers.ListField(child=slug_field())


class ClaimAnswer(Answer):
    """What is printed on the label; `port` is a port's label or "". V, A and W."""

    text = serializers.CharField()
    port = serializers.CharField(allow_blank=True)
    voltage_v = _number()
    current_a = _number()
    combination = serializers.CharField(allow_blank=True)
    power_w = _number()


class AdapterAnswer(Answer):
    """An adapter with its ports and label claims. W, V, mm and g."""

    slug = slug_field()
    maker = serializers.CharField()
    name = serializers.CharField()
    model_number = serializers.CharField(allow_blank=True)
    rated_power_w = serializers.FloatField()
    supply = serializers.ChoiceField(Adapter.Supply.values)
    mains_min_v = _number()
    mains_max_v = _number()
    length_mm = _number()
    width_mm = _number()
    height_mm = _number()
    mass_g = _number()
    enclosure = serializers.ChoiceField([*Adapter.Enclosure.values, ""])
    plug = serializers.CharField(allow_blank=True)
    released_on = serializers.DateField(allow_null=True)
    publish_on = serializers.DateField(allow_null=True)
    ports = serializers.ListField(child=PortAnswer())
    claims = serializers.ListField(child=ClaimAnswer())


class DeviceAnswer(Answer):
    """A reference device. Wh, W and V."""

    slug = slug_field()
    name = serializers.CharField()
    kind = serializers.CharField(allow_blank=True)
    battery_wh = _number()
    max_power_w = _number()
    voltage_min_v = _number()
    voltage_max_v = _number()


class ObjectAnswer(Answer):
    """A decoded power data object; null where the object itself does not say. V, A and W."""

    position = serializers.IntegerField(min_value=1)
    kind = serializers.ChoiceField(
        ["fixed", "battery", "variable", "pps", "avs-epr", "avs-spr", "padding", "reserved"]
    )
    voltage_min_v = _number()
    voltage_max_v = _number()
    current_max_a = _number()
    power_max_w = _number()
    flags = serializers.ListField(child=serializers.CharField())
    word = serializers.RegexField("^0x[0-9A-F]{8}$")


class FindingAnswer(Answer):
    """Where a list of objects meets a rule: an indication, never a certification."""

    rule = serializers.CharField()
    severity = serializers.ChoiceField(["error", "warning", "note"])
    detail = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # a member of this name is meant
    standing = serializers.CharField()
    positions = serializers.ListField(child=serializers.IntegerField(min_value=1))


class DecodeAnswer(Answer):
    """The objects of one source, and the findings of the audit by the source rules."""

    objects = serializers.ListField(child=ObjectAnswer())
    findings = serializers.ListField(child=FindingAnswer())
