"""Bodies, read so that none can do more than be refused."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser, MultiPartParser

from catalog.rest.problems import PayloadTooLarge


class StrictJSONParser(BaseParser):
    """UTF-8 JSON without the literals and sizes that JSON numbers cannot have.

    Raises `ParseError` with the place of the mistake, and `PayloadTooLarge`.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """The body as plain data."""
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0
        raw = stream.read(limit + 1)
        if len(raw) > limit:
            raise PayloadTooLarge(f"A JSON body may have {limit:,} bytes.")
        try:
            return json.loads(
                raw.decode("utf-8-sig"),
                parse_constant=_no_number,
                parse_float=_finite,
                object_pairs_hook=_each_once,
            )
        except RecursionError:
            raise ParseError("The JSON is nested too deeply.") from None
        except UnicodeDecodeError as error:
            raise ParseError(f"The body is not UTF-8 (byte {error.start}).") from None
        except ValueError as error:
            raise ParseError(f"The body is not JSON: {error}.") from None


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object; what a name that stands twice means, differs from reader to reader (RFC 8259)."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"an object has the name {twice[:40]!r} twice")
    return found


def _no_number(literal: str) -> float:
    raise ValueError(f"{literal} is not a JSON number")


def _finite(literal: str) -> float:
    value = float(literal)
    if not math.isfinite(value):
        raise ValueError(f"{literal[:40]} is out of range")
    return value


class WholeMultiPartParser(MultiPartParser):
    """Multipart forms that arrived as a whole.

    A form that is cut between two fields would otherwise pass for one without the later
    fields. Raises `ParseError`.
    """

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """The fields and files."""
        counted = _Counted(stream)
        try:
            parsed = super().parse(counted, media_type, parser_context)  # type: ignore[arg-type]
        except ParseError as error:
            raise ParseError(
                f"{error.detail}. Check how the form is made, and send it again."
            ) from error
        stated = parser_context["request"].META.get("CONTENT_LENGTH") if parser_context else None
        if counted.read_bytes != int(stated or 0):
            raise ParseError("The body ended before it was complete. Send it again.")
        return parsed


class _Counted:
    """A stream that counts what was read from it."""

    def __init__(self, stream: IO[Any]) -> None:
        self._stream = stream
        self.read_bytes = 0

    def read(self, size: int = -1) -> Any:
        """Read on."""
        block = self._stream.read(size)
        self.read_bytes += len(block)
        return block
