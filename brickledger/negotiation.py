"""The API speaks JSON; a client that asks for anything else is still answered in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request


class OneRenderer(DefaultContentNegotiation):
    """Always the first renderer, so that ``Accept: text/html`` is not an error."""

    def select_renderer(
        self,
        request: Request,
        renderers: Sequence[Any],
        format_suffix: str | None = None,
    ) -> tuple[BaseRenderer, str]:
        """The first renderer and its media type."""
        return renderers[0], renderers[0].media_type
