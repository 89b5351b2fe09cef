"""The page of an adapter, with its places."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from comparisons.queries.adapter_pages import adapter_page
from measurements.queries import counts_tables
from measurements.queries.attachments import attached_to


@require_safe
def adapter(request: HttpRequest, slug: str) -> HttpResponse:
    """One adapter: what its maker states, where it stands, what was tested."""
    page = adapter_page(slug, viewer=request.user, tables=counts_tables(request.GET.get("tables")))
    if page is None:
        raise Http404
    return render(
        request,
        "comparisons/adapter.html",
        {
            "page": page,
            "adapter": page.adapter,
            "attached": attached_to(page.adapter, viewer=request.user),
            "section": "adapters",
        },
    )
