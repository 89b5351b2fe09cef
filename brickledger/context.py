"""What every page is given."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from brickledger.models import SiteNotice


def site(request: HttpRequest) -> dict[str, Any]:
    """The notices of the site; read when a template asks for them."""
    return {"site_notices": SiteNotice.objects.order_by("pk")}
