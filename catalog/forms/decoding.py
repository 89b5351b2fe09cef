"""The form that takes pasted power data objects, read from the address."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from catalog.power_delivery.words import LARGEST_COUNT, parse_words

LONGEST_TEXT = 4000
WIRE_ORDER = "bytes"


class DecodeForm(forms.Form):
    """Words of one source; a result can be linked, as its address holds all of them."""

    words = forms.CharField(
        label="Words, in the order in which the source sends them",
        max_length=LONGEST_TEXT,
        strip=False,
        help_text=(
            f"Up to {LARGEST_COUNT} of 8 hexadecimal digits each, such as 0x0001912C, "
            "separated by blanks, commas or line ends."
        ),
        widget=forms.Textarea(
            attrs={"rows": 6, "spellcheck": "false", "autocapitalize": "off", "autocomplete": "off"}
        ),
        error_messages={"required": "Paste at least one word, such as 0x0001912C."},
    )
    order = forms.ChoiceField(
        label="Written as",
        choices=[
            ("", "numbers, highest digit first: 0801912C"),
            (WIRE_ORDER, "bytes as on the wire, lowest first: 2C 91 01 08"),
        ],
        required=False,
    )
    rated_power_w = forms.FloatField(
        label="Rated power of the port, W",
        min_value=0.1,
        max_value=10_000,
        required=False,
        help_text="Printed on the adapter. With it, the source power rules apply to the rating.",
    )

    def clean(self) -> dict[str, Any]:
        """Read the words in their order; refuse parameters that this page does not know."""
        cleaned = super().clean() or self.cleaned_data
        unknown = sorted(set(self.data) - set(self.fields))
        if unknown:
            named = ", ".join(f"“{name[:40]}”" for name in unknown[:5])
            known = ", ".join(self.fields)
            self.add_error(None, f"This page does not know {named}. It takes {known}.")
        if "words" in cleaned and "order" in cleaned:
            parsed = parse_words(
                cleaned["words"],
                byte_order="little-endian bytes" if cleaned["order"] == WIRE_ORDER else "number",
            )
            if parsed.problems:
                details = [problem.detail for problem in parsed.problems]
                self.add_error("words", ValidationError(details))
            cleaned["parsed"] = parsed.words
        return cleaned

    @property
    def parsed(self) -> tuple[int, ...]:
        """The words as numbers; only after `is_valid()`."""
        return tuple(self.cleaned_data["parsed"])
