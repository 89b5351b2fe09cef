"""Fields and bodies that take JSON at its word: no text for a number, no field unheard of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, ClassVar

from rest_framework import serializers

UNKNOWN_NAMED = 20
MAX_DEPTH = 20


class NumberField(serializers.Field[float, Any, float, Any]):
    """A JSON number from `minimum` to `maximum`, both included, and above `above`."""

    default_error_messages = {
        "type": "Write a number, without quotation marks.",
        "range": "Write a number {least} to {maximum:g}.",
    }

    def __init__(
        self, *, maximum: float, minimum: float = -math.inf, above: float = -math.inf, **kw: Any
    ) -> None:
        super().__init__(**kw)
        self.minimum, self.maximum, self.above = minimum, maximum, above

    def to_internal_value(self, data: Any) -> float:
        """The number as a float."""
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("type")
        # Compared before it is converted: JSON integers have no largest one.
        if not self.minimum <= data <= self.maximum or data <= self.above:
            above = self.above > self.minimum
            least = f"above {self.above:g}" if above else f"from {self.minimum:g}"
            self.fail("range", least=least, maximum=self.maximum)
        return float(data)

    def to_representation(self, value: float) -> float:
        """The number itself."""
        return value


class TextField(serializers.CharField):
    """A JSON string; numbers are not taken for text.

    `known` are the texts that make sense, for the API's description; whoever reads the body
    says what is wrong with another one.
    """

    def __init__(self, *, known: Iterable[str] = (), **kw: Any) -> None:
        super().__init__(**kw)
        self.known = tuple(known)

    def to_internal_value(self, data: Any) -> str:
        """The text, stripped."""
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class WordField(serializers.ChoiceField):
    """One of a few words."""

    default_error_messages = {"invalid_choice": "Write one of: {known}."}

    def to_internal_value(self, data: Any) -> str:
        """The word."""
        if not isinstance(data, str) or data not in self.choices:
            self.fail("invalid_choice", known=", ".join(str(word) for word in self.choices))
        return data


class Body(serializers.Serializer[Any]):
    """A JSON object in which every field must be known, so that none is ignored or slipped in.

    `rules` are keywords of JSON Schema for what no single field says.
    """

    rules: ClassVar[Mapping[str, Any]] = {}

    def to_internal_value(self, data: Any) -> Any:
        """The validated fields; unknown ones are reported beside the other faults."""
        unknown: dict[str, list[str]] = {}
        if isinstance(data, Mapping):
            known = ", ".join(self.fields) or "none"
            unknown = {
                str(name)[:80]: [f"There is no field of this name. Known here: {known}."]
                for name in [name for name in data if name not in self.fields][:UNKNOWN_NAMED]
            }
        try:
            accepted = super().to_internal_value(data)
        except serializers.ValidationError as error:
            if not isinstance(error.detail, dict):
                raise
            raise serializers.ValidationError({**unknown, **error.detail}) from None
        if unknown:
            raise serializers.ValidationError(unknown)
        return accepted


def utc_text(moment: datetime) -> str:
    """A moment in UTC as answers write it (RFC 3339)."""
    return moment.isoformat().replace("+00:00", "Z")


def fault_of_plain(data: Any) -> str:
    """What keeps plain JSON data from being stored, as a sentence; "" when nothing does.

    Databases hold no NUL characters and no lone surrogates, and JSON no infinities.
    """
    level = [data]
    for _ in range(MAX_DEPTH):
        deeper: list[Any] = []
        for item in level:
            if isinstance(item, float) and not math.isfinite(item):
                return "Numbers must be finite."
            if isinstance(item, str) and any(
                sign == "\0" or "\ud800" <= sign <= "\udfff" for sign in item
            ):
                return "NUL characters and lone surrogates are not allowed."
            if isinstance(item, Mapping):
                deeper += [*item.keys(), *item.values()]
            elif isinstance(item, list):
                deeper += item
        if not deeper:
            return ""
        level = deeper
    return "This is nested too deeply."
