"""Fact sheets of an adapter and of a comparison: as a page, as text, as Markdown."""

from __future__ import annotations

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from catalog.models import Viewer
from comparisons.facts.adapter_sheets import adapter_sheet
from comparisons.facts.sheets import Sheet
from comparisons.facts.table_sheets import table_sheet
from comparisons.facts.writing import as_markdown, as_text
from comparisons.forms.facts import FactsForm
from comparisons.queries.contents import content_of
from comparisons.queries.fact_material import fact_material
from comparisons.views.comparisons import visible_comparison

_FORMS = {
    "txt": (as_text, "text/plain; charset=utf-8"),
    "md": (as_markdown, "text/markdown; charset=utf-8"),
}


@require_safe
def adapter_facts(request: HttpRequest, slug: str) -> HttpResponse:
    """The sheet of an adapter as a page."""
    form = FactsForm(request.GET)
    if not form.is_valid():
        return _refused(request, form)
    sheet = _adapter_sheet(slug, form, viewer=request.user)
    return _page(request, sheet, form=form, section="adapters", slug=slug)


@require_safe
def adapter_facts_file(request: HttpRequest, slug: str, suffix: str) -> HttpResponse:
    """The same sheet as a file."""
    form = FactsForm(request.GET)
    if not form.is_valid():
        return _refused(request, form)
    return _file(request, _adapter_sheet(slug, form, viewer=request.user), suffix, slug=slug)


@require_safe
def comparison_facts(request: HttpRequest, slug: str) -> HttpResponse:
    """The sheet of a comparison as a page."""
    form = FactsForm(request.GET, tables=False)
    if not form.is_valid():
        return _refused(request, form)
    sheet = _comparison_sheet(slug, viewer=request.user)
    return _page(request, sheet, form=form, section="comparisons", slug=slug)


@require_safe
def comparison_facts_file(request: HttpRequest, slug: str, suffix: str) -> HttpResponse:
    """The same sheet as a file."""
    form = FactsForm(request.GET, tables=False)
    if not form.is_valid():
        return _refused(request, form)
    return _file(request, _comparison_sheet(slug, viewer=request.user), suffix, slug=slug)


def _adapter_sheet(slug: str, form: FactsForm, *, viewer: Viewer) -> Sheet:
    material = fact_material(slug, viewer=viewer, tables=form.counts)
    if material is None:
        raise Http404
    return adapter_sheet(material, order=settings.FACT_ORDER, on=timezone.now().date())


def _comparison_sheet(slug: str, *, viewer: Viewer) -> Sheet:
    found = visible_comparison(slug, viewer=viewer)
    content = content_of(found, viewer=viewer)
    standing = "A draft: its values follow the newest accepted runs until it is published."
    if found.published_at is not None:
        day = found.published_at
        standing = (
            f"Frozen on {day.day} {day:%B %Y}; the values do not change. SHA-256 of the table: "
            f"{found.frozen_hash}."
        )
    return table_sheet(
        content,
        title=content.get("title", found.title),
        path=reverse("comparison-facts", args=[slug]),
        standing=standing,
        order=settings.FACT_ORDER,
    )


def _page(
    request: HttpRequest, sheet: Sheet, *, form: FactsForm, section: str, slug: str
) -> HttpResponse:
    of = section.removesuffix("s")
    context = {
        "sheet": sheet,
        "form": form,
        "section": section,
        "back": reverse(of, args=[slug]),
        "text_path": reverse(f"{of}-facts-text", args=[slug]) + form.said,
        "markdown_path": reverse(f"{of}-facts-markdown", args=[slug]) + form.said,
        "text": as_text(sheet, absolute=request.build_absolute_uri),
        "markdown": as_markdown(sheet, absolute=request.build_absolute_uri),
    }
    return render(request, "comparisons/facts.html", context)


def _file(request: HttpRequest, sheet: Sheet, suffix: str, *, slug: str) -> HttpResponse:
    write, content_type = _FORMS[suffix]
    return HttpResponse(
        write(sheet, absolute=request.build_absolute_uri),
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{slug}-facts.{suffix}"'},
    )


def _refused(request: HttpRequest, form: FactsForm) -> HttpResponse:
    """What is wrong with the address, with a way back to the sheet."""
    return render(request, "comparisons/facts_refused.html", {"form": form}, status=400)
