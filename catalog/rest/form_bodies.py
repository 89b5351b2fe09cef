"""Multipart forms for the API's description, made from the forms that read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms

from catalog.rest.calls import SAID, SLUG, STORABLE, FormBody

FILE = {"type": "string", "format": "binary"}


def form_body(fields: Mapping[str, forms.Field], *, file: str = "file") -> FormBody:
    """The description of a form with these fields and one file.

    Fields that only some uses of the form require are given as not required.
    """
    described = {
        name: {**_schema(field), **_said(field)}
        for name, field in fields.items()
        if not isinstance(field, forms.FileField)
    }
    required = [name for name in described if fields[name].required]
    return FormBody({**described, file: FILE}, (*required, file))


def _said(field: forms.Field) -> dict[str, str]:
    said = ". ".join(str(part).rstrip(".") for part in (field.label, field.help_text) if part)
    return {"description": f"{said}."} if said else {}


def _schema(field: forms.Field) -> dict[str, Any]:
    for kind, described in _KINDS:
        if isinstance(field, kind):
            return described(field)
    least = {"pattern": SAID} if field.required else {"pattern": STORABLE}
    longest = getattr(field, "max_length", None)
    return {"type": "string", **least, **({"maxLength": longest} if longest else {})}


def _number(field: Any) -> dict[str, Any]:
    ends = {"minimum": field.min_value, "maximum": field.max_value}
    return {"type": "number", **{word: end for word, end in ends.items() if end is not None}}


# The first that fits: a field for several of a model is also one for one of it.
_KINDS: tuple[tuple[type[forms.Field], Callable[[Any], dict[str, Any]]], ...] = (
    (
        forms.ModelMultipleChoiceField,
        lambda field: {"type": "array", "items": {"type": "string", "maxLength": 100}},
    ),
    (
        forms.ModelChoiceField,
        lambda field: {"type": "string", "pattern": SLUG, "maxLength": 160},
    ),
    (
        forms.ChoiceField,
        lambda field: {"type": "string", "enum": [value for value, _ in field.choices]},
    ),
    (forms.FloatField, _number),
    (forms.DateTimeField, lambda field: {"type": "string", "format": "date-time"}),
    (forms.JSONField, lambda field: {"type": "string", "pattern": STORABLE}),
)
