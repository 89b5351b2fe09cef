"""The list of adapters, and the page of one with its places."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from catalog.models import Adapter
from comparisons.forms import AdapterListForm
from comparisons.queries.adapter_pages import adapter_page
from comparisons.queries.beside import side_by_side
from measurements.queries import counts_tables
from measurements.queries.attachments import attached_to

PAGE_SIZE = 50


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the list. `outputs` counts the ports by connector."""

    adapter: Adapter
    outputs: str


def _row(adapter: Adapter) -> Row:
    counted = Counter(port.get_connector_display() for port in adapter.ports.all())
    return Row(adapter, ", ".join(f"{count} {name}" for name, count in counted.items()))


@require_safe
def adapter_list(request: HttpRequest) -> HttpResponse:
    """Adapters that match the filters of the address, fifty a page."""
    form = AdapterListForm(request.GET, viewer=request.user)
    page = None
    if form.is_valid():
        listed = form.narrow(Adapter.objects.visible_to(request.user))
        page = form.page_of(
            listed.select_related("maker")
            .prefetch_related("ports")
            .order_by("maker__name", "name", "pk"),
            size=PAGE_SIZE,
        )
    context = {
        "section": "adapters",
        "form": form,
        "page": page,
        "rows": [_row(adapter) for adapter in page] if page else [],
    }
    return render(
        request, "comparisons/adapter_list.html", context, status=200 if page is not None else 400
    )


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


@require_safe
def beside(request: HttpRequest, slug: str, other: str) -> HttpResponse:
    """Two adapters side by side, by every metric and condition that both have."""
    tables = counts_tables(request.GET.get("tables"))
    found = side_by_side(slug, other, viewer=request.user, tables=tables)
    if found is None:
        raise Http404
    context = {
        "found": found,
        # How the other addresses of this view say it, where the site would not do so by itself.
        "tables_said": "" if tables == bool(settings.COUNT_TABLES) else "in" if tables else "out",
        "section": "adapters",
    }
    return render(request, "comparisons/beside.html", context)
