"""Publishing as an editor does who has read what the check of conditions found."""

from __future__ import annotations

from typing import Any

from comparisons.actions import content_to_publish, publish_comparison
from comparisons.models import Comparison
from comparisons.queries.contents import seal_of


def published_as_read(draft: Comparison, *, by: Any) -> Comparison:
    """The draft, published with its departures read."""
    return publish_comparison(draft, by=by, departures_read=seal_of(content_to_publish(draft)))
