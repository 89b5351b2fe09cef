"""What a page or an address says of a file, under the names of the upload fields."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from django import forms
from django.http import QueryDict

from measurements.forms import RunForm, kind_choices
from measurements.kinds import all_kinds

LONGEST = 2000


@cache
def said_fields() -> frozenset[str]:
    """Every field that an upload may have, of any kind."""
    return frozenset(RunForm.base_fields) | {
        field.name for kind in all_kinds() for field in kind.fields
    }


def ask_openly(form: RunForm, *, adapter: str, kind: str) -> None:
    """Let a page leave adapter and kind open for now, under these words."""
    form.use_required_attribute = False
    adapters, kinds = form.fields["adapter"], form.fields["kind"]
    assert isinstance(adapters, forms.ModelChoiceField)
    assert isinstance(kinds, forms.ChoiceField)
    adapters.empty_label = adapter
    kinds.choices = [("", kind), *kind_choices()]


def said_anew(before: Mapping[str, Any], data: QueryDict) -> dict[str, Any]:
    """What is said after a page was answered: what it did not ask about stays as it was."""
    asked = set(data)
    if "unit" in asked:  # the conditions were asked; boxes without a tick are not sent
        asked.add("instruments")
    kept = {name: text for name, text in before.items() if name not in asked}
    return {**kept, **said_in(data)}


def said_in(data: QueryDict) -> dict[str, object]:
    """The upload fields among `data` that hold anything; instruments as a list."""
    said: dict[str, object] = {}
    for name in data:
        if name not in said_fields():
            continue
        if name == "instruments":
            said[name] = [text for text in data.getlist(name) if text]
        elif text := str(data[name]).replace("\0", "")[:LONGEST].strip():
            said[name] = text
    return {name: text for name, text in said.items() if text}
