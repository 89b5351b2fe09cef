"""Comparison tables: the list, a table with all that stands beside it, and its files."""

from __future__ import annotations

import hashlib
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from catalog.models import Viewer
from comparisons.actions import Refused
from comparisons.charts.blocks import block_svg
from comparisons.models import Comparison
from comparisons.queries.contents import content_of, departures_of, general_remarks, seal_of
from comparisons.queries.drift import drift_of
from comparisons.queries.tables import methods_of
from comparisons.views.comparison_files import markdown_text, workbook
from comparisons.views.csv_files import comparison_rows, csv_response
from measurements.charts import EDITION, SIZES, THEMES

WORKBOOK_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def visible_comparison(slug: str, *, viewer: Viewer) -> Comparison:
    """The comparison of that slug. Raises `Http404`, also for a draft that is not to be seen."""
    found = (
        Comparison.objects.visible_to(viewer)
        .select_related("revises", "published_by")
        .filter(slug=slug)
        .first()
    )
    if found is None:
        raise Http404
    return found


@require_safe
def comparison_list(request: HttpRequest) -> HttpResponse:
    """Published tables, newest first; drafts for those who write them."""
    visible = Comparison.objects.visible_to(request.user).defer("frozen")
    return render(
        request,
        "comparisons/comparison_list.html",
        {
            "published": visible.filter(state=Comparison.State.PUBLISHED).order_by("-published_at"),
            "drafts": visible.filter(state=Comparison.State.DRAFT).order_by("-changed_at"),
            "section": "comparisons",
        },
    )


@require_safe
def comparison_page(request: HttpRequest, slug: str) -> HttpResponse:
    """One table."""
    return shown(request, visible_comparison(slug, viewer=request.user))


def shown(
    request: HttpRequest,
    comparison: Comparison,
    *,
    refused: Refused | None = None,
    preview: dict[str, Any] | None = None,
) -> HttpResponse:
    """The page of a comparison; of a draft as readers will see it where `preview` has that."""
    content = preview or content_of(comparison, viewer=request.user)
    later = comparison.revisions.filter(state=Comparison.State.PUBLISHED).order_by("published_at")
    return render(
        request,
        "comparisons/comparison.html",
        {
            "comparison": comparison,
            "table": content,
            "title": content.get("title", comparison.title),
            "remarks": general_remarks({"notes": comparison.notes, **content}),
            "departures": departures_of(content),
            "seal": seal_of(content),
            "methods": methods_of(content),
            "later": later.only("slug", "title", "published_at"),
            "drift": drift_of(comparison) if comparison.frozen is not None else None,
            "preview": preview is not None,
            "refused": refused,
            "section": "comparisons",
        },
        status=409 if refused else 200,
    )


@require_safe
def comparison_csv(request: HttpRequest, slug: str) -> HttpResponse:
    """The table as a file, one row a cell."""
    comparison = visible_comparison(slug, viewer=request.user)
    content = content_of(comparison, viewer=request.user)
    return csv_response(comparison_rows(content), name=comparison.slug)


@require_safe
def comparison_xlsx(request: HttpRequest, slug: str) -> HttpResponse:
    """The table as a workbook: the table itself, its cells one a row, and its remarks."""
    comparison = visible_comparison(slug, viewer=request.user)
    content = content_of(comparison, viewer=request.user)
    return _download(
        workbook(content, about=_about(request, comparison)),
        name=f"{comparison.slug}.xlsx",
        content_type=WORKBOOK_TYPE,
    )


@require_safe
def comparison_markdown(request: HttpRequest, slug: str) -> HttpResponse:
    """The table as Markdown."""
    comparison = visible_comparison(slug, viewer=request.user)
    content = content_of(comparison, viewer=request.user)
    return _download(
        markdown_text(content, title=comparison.title, about=_about(request, comparison)),
        name=f"{comparison.slug}.md",
        content_type="text/markdown; charset=utf-8",
    )


def _download(content: bytes | str, *, name: str, content_type: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _about(request: HttpRequest, comparison: Comparison) -> tuple[str, ...]:
    """What a file says of where it is from: day, hash and address."""
    address = request.build_absolute_uri(comparison.get_absolute_url())
    if comparison.published_at is None:
        return ("A draft, not frozen: its values follow the newest accepted runs.", address)
    return (
        f"Frozen on {comparison.published_at:%Y-%m-%d %H:%M} UTC.",
        f"SHA-256 of the table: {comparison.frozen_hash}",
        address,
    )


@require_safe
def comparison_chart(request: HttpRequest, slug: str, position: int) -> HttpResponseBase:
    """The drawing of a block of the table, counted from 1, in a theme and a size."""
    theme, size = request.GET.get("theme", "light"), request.GET.get("size", "wide")
    if theme not in THEMES or size not in SIZES or set(request.GET) - {"theme", "size"}:
        return HttpResponse(
            f"theme is one of {', '.join(THEMES)}; size is one of {', '.join(SIZES)}; nothing "
            "else is asked here.",
            content_type="text/plain; charset=utf-8",
            status=400,
        )
    comparison = visible_comparison(slug, viewer=request.user)
    blocks = content_of(comparison, viewer=request.user).get("blocks", [])
    block = blocks[position - 1] if 1 <= position <= len(blocks) else None
    if block is None or not block.get("lines"):
        raise Http404
    said = [theme, size, str(EDITION), repr(block)]
    etag = f'"{hashlib.sha256(chr(0).join(said).encode()).hexdigest()[:32]}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        svg = block_svg(
            block,
            "dark" if theme == "dark" else "light",
            size="narrow" if size == "narrow" else "wide",
        )
        response = HttpResponse(svg, content_type="image/svg+xml")
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "private, no-cache"
    return response
