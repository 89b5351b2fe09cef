"""A drawing as an answer: in a theme and a size, as SVG or as PNG."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.utils.cache import get_conditional_response

from measurements.charts import EDITION, SIZES, STATE, THEMES, Size, Theme, png_of

Form = Literal["svg", "png"]
IN_WORDS = f"theme is one of {', '.join(THEMES)}; size is one of {', '.join(SIZES)}"
PARAMETERS = frozenset({"theme", "size"})

_TYPES: dict[Form, str] = {"svg": "image/svg+xml", "png": "image/png"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a drawing was asked for."""

    theme: Theme
    size: Size
    form: Form


def wanted(request: HttpRequest, form: Form) -> Wanted | None:
    """What the query says; None where it names a theme or a size that there is not."""
    theme, size = request.GET.get("theme", "light"), request.GET.get("size", "wide")
    if theme not in THEMES or size not in SIZES:
        return None
    return Wanted(theme, size, form)


def drawn(
    request: HttpRequest,
    how: Wanted,
    draw: Callable[[Theme, Size], str],
    *,
    state: Iterable[object],
    name: str,
) -> HttpResponseBase:
    """The drawing, unless whoever asks has it; `state` is all that it depends on.

    `name` is the file's without its ending, for whoever saves it.
    """
    parts = (how.theme, how.size, how.form, EDITION, *state)
    etag = f'"{hashlib.sha256(chr(0).join(map(str, parts)).encode()).hexdigest()[:32]}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        svg = draw(how.theme, how.size)
        content = svg if how.form == "svg" else png_of(svg, is_frame=how.size == "film")
        response = HttpResponse(content, content_type=_TYPES[how.form])
        saved_as = f"{name}-{how.size}-{how.theme}.{how.form}"
        response.headers["Content-Disposition"] = f'inline; filename="{saved_as}"'
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def refused(rest: str = "nothing else is read") -> HttpResponse:
    """What a drawing may be asked for, to somebody who asked for something else."""
    return in_words(f"{IN_WORDS}; {rest}.")


def in_words(sentence: str) -> HttpResponse:
    """Why there is no such drawing."""
    return HttpResponse(sentence, content_type="text/plain; charset=utf-8", status=400)


def asked_for(query: QueryDict) -> dict[str, list[str]]:
    """What a query says of what is shown of a chart, as `read_shown` takes it."""
    return {name: query.getlist(name) for name in STATE if name in query}
