"""What every page is given."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.http import HttpRequest

from brickledger.models import SiteNotice
from catalog.models import Adapter


def site(request: HttpRequest) -> dict[str, Any]:
    """The notices of the site, and how much is under embargo; read when a template asks."""
    return {
        "site_notices": SiteNotice.objects.order_by("pk"),
        # Called by the template, once: filters see a number, which a lazy object is not.
        "embargoed_count": cache(Adapter.objects.embargoed().count),
    }
