"""The entry of a reference device."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms

from catalog.forms.groups import ask_for_the_rest
from catalog.models import Device

if TYPE_CHECKING:
    # The framework's class takes its model as a parameter in its stubs only.
    _DeviceModelForm = forms.ModelForm[Device]
else:
    _DeviceModelForm = forms.ModelForm


class DeviceForm(_DeviceModelForm):
    """The facts of a reference device, as its maker states them."""

    class Meta:
        model = Device
        fields = (
            "name",
            "kind",
            "battery_wh",
            "max_power_w",
            "voltage_min_v",
            "voltage_max_v",
            "note",
        )
        help_texts = {
            "name": "What this bench calls it; no two names differ by capitals alone.",
            "kind": "Such as phone, tablet or laptop.",
            "battery_wh": "Printed on the battery or in the data sheet.",
            "max_power_w": "The most that it takes, as its maker states it.",
        }

    def clean(self) -> dict[str, Any]:
        """A voltage range has both ends."""
        cleaned = super().clean() or self.cleaned_data
        ask_for_the_rest(self, [("voltage_min_v", "voltage_max_v")])
        return cleaned
