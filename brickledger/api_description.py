"""The description of the API as one document, for programs and for the page of documents."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from catalog.rest.calls import Answer, Call
from catalog.rest.views import ApiView, tagged

DOCUMENT = Path(__file__).with_name("openapi.json")
"""The description as it was committed; it changes only together with the code."""


@cache
def description() -> dict[str, Any]:
    """OpenAPI 3.1 of this API. It depends on nothing but the code, so it is made once."""
    # The library takes longer to load than the description to send; most processes need neither.
    from catalog.rest.describing import Generator  # noqa: PLC0415

    found: dict[str, Any] = Generator(urlconf="brickledger.urls").get_schema(
        request=None, public=True
    )
    return found


class DescriptionAnswer(Answer):
    """An OpenAPI document."""


class Description(ApiView):
    """The API, described."""

    calls = {"GET": Call({200: DescriptionAnswer})}

    def get(self, request: Request) -> Response:
        """Describe every call of this API as OpenAPI 3.1."""
        return tagged(description())
