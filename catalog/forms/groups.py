"""Facts of a form that only mean something together."""

from __future__ import annotations

from collections.abc import Iterable

from django import forms


def ask_for_the_rest(form: forms.BaseForm, groups: Iterable[tuple[str, ...]]) -> None:
    """Mark what is missing in each group of fields of which some were given, not all."""
    for group in groups:
        missing = [name for name in group if form.cleaned_data.get(name) is None]
        if 0 < len(missing) < len(group):
            for name in missing:
                if name not in form.errors:
                    others = " and ".join(
                        f"“{form.fields[other].label}”" for other in group if other != name
                    )
                    form.add_error(name, f"Give this too, or clear {others}.")
