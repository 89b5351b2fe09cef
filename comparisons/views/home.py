"""The first page."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from comparisons.queries.front_page import front_page


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """What this bench has tested, what is new, who leads."""
    page = front_page(viewer=request.user, tables=settings.COUNT_TABLES)
    return render(request, "comparisons/home.html", {"page": page, "section": ""})
