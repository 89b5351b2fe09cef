"""What every page is given."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from brickledger.models import SiteNotice
from catalog.models import Adapter


def site(request: HttpRequest) -> dict[str, Any]:
    """The notices of the site, and how much is under embargo; read when a template asks."""
    return {
        "site_notices": SiteNotice.objects.order_by("pk"),
        "embargoed_count": SimpleLazyObject(Adapter.objects.embargoed().count),
    }
