"""A published comparison to put on other sites: a piece of HTML, and the table as an image."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from comparisons.charts.table_images import ImageRow, table_image
from comparisons.models import Comparison
from comparisons.queries.contents import departures_of
from comparisons.ranking import expanded
from comparisons.templatetags.tables import highlight_rule
from comparisons.views.comparison_files import (
    NOT_TESTED,
    all_remarks,
    condition_of,
    snippet,
)
from comparisons.views.comparisons import visible_comparison
from measurements.charts import EDITION, THEMES
from measurements.templatetags.figures import figure, uncertainty

# Pixels of a PNG for each of the drawing, so that it is sharp on fine screens; fewer where the
# image would be larger than this, which would take four bytes a pixel to draw.
_SCALE = 2.0
_MOST_PIXELS = 24_000_000

# Signs that no XML document can hold (XML 1.0, 2.2), wherever an editor got them from.
_NOT_OF_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def _published(request: HttpRequest, slug: str) -> tuple[Comparison, dict[str, Any], str]:
    """A published comparison, its content with a title, and its full address."""
    comparison = visible_comparison(slug, viewer=request.user)
    if comparison.frozen is None:
        raise Http404
    content = {"title": comparison.title, "notes": "", **comparison.frozen}
    return comparison, content, request.build_absolute_uri(comparison.get_absolute_url())


@require_safe
def comparison_embed(request: HttpRequest, slug: str) -> HttpResponse:
    """What to copy, and how it looks."""
    comparison, content, address = _published(request, slug)
    return render(
        request,
        "comparisons/embed.html",
        {
            "comparison": comparison,
            "title": content["title"],
            "snippet": snippet(
                content,
                address=address,
                published=f"{comparison.published_at:%Y-%m-%d}",
                seal=comparison.frozen_hash,
            ),
            "address": address,
            "section": "comparisons",
        },
    )


@require_safe
def comparison_image(request: HttpRequest, slug: str, form: str) -> HttpResponseBase:
    """The table as SVG or PNG, with its day, hash and address in it."""
    theme = request.GET.get("theme", "light")
    if theme not in THEMES or set(request.GET) - {"theme"}:
        return HttpResponse(
            f"theme is one of {', '.join(THEMES)}; nothing else is asked here.",
            content_type="text/plain; charset=utf-8",
            status=400,
        )
    comparison, content, address = _published(request, slug)
    said = (comparison.frozen_hash, address, theme, form, str(EDITION))
    etag = f'"{hashlib.sha256(chr(0).join(said).encode()).hexdigest()[:32]}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        day = f"{comparison.published_at:%Y-%m-%d}"
        image = table_image(
            content,
            _rows(content),
            remarks=[
                *(f"({number}) {text}" for number, text in all_remarks(content)),
                *departures_of(content),
            ],
            foot=(
                f"± is U, k\u00a0=\u00a02. {highlight_rule(content)}",
                f"Frozen on {day}. {address} SHA-256: {comparison.frozen_hash}",
            ),
            theme="dark" if theme == "dark" else "light",
        )
        drawn = render_to_string("comparisons/table_image.svg", {"image": image})
        svg = _NOT_OF_XML.sub("", drawn)
        response = (
            HttpResponse(svg, content_type="image/svg+xml")
            if form == "svg"
            else HttpResponse(
                _png(svg, pixels=image.width * image.height), content_type="image/png"
            )
        )
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def _png(svg: str, *, pixels: int) -> bytes:
    # Loading it takes long: the web process starts without.
    import vl_convert  # noqa: PLC0415

    scale = min(_SCALE, math.sqrt(_MOST_PIXELS / pixels))
    return bytes(vl_convert.svg_to_png(svg, scale=scale))


def _rows(content: Mapping[str, Any]) -> list[ImageRow]:
    return [
        ImageRow(
            section=row["section"],
            title=f"{row['title']}, {row['unit']}",
            condition=condition_of(row),
            cells=tuple(
                (
                    _lines(cell, decimals=row["decimals"], numbers=numbers),
                    bool(cell and cell["best"]),
                )
                for cell, numbers in zip(
                    row["cells"], row.get("remarks") or [[] for _ in row["cells"]], strict=True
                )
            ),
        )
        for row in content["rows"]
    ]


def _lines(cell: Mapping[str, Any] | None, *, decimals: int, numbers: list[int]) -> list[str]:
    """A cell in lines: the value, U, and what else is said of it."""
    behind = f" ({', '.join(map(str, numbers))})" if numbers else ""
    if cell is None:
        return ["–", NOT_TESTED + behind]
    lines = [
        ("best " if cell["best"] else "") + figure(cell["value"], decimals) + behind,
        uncertainty(expanded(cell["standard_uncertainty"]), decimals),
        "from a table" if cell.get("source") == "table" else "",
        "not comparable" if cell["apart"] else "",
    ]
    return [line for line in lines if line]
