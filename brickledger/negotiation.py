"""The API speaks JSON; a client that asks for anything else is still answered in it."""

from __future__ import annotations

from collections.abc import Iterable

from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request


class OneRenderer(DefaultContentNegotiation):
    """Always the first renderer, so that ``Accept: text/html`` is not an error."""

    def select_renderer(
        self,
        request: Request,
        renderers: Iterable[BaseRenderer],
        format_suffix: str | None = None,
    ) -> tuple[BaseRenderer, str]:
        """The first renderer and its media type."""
        first = next(iter(renderers))
        return first, first.media_type
