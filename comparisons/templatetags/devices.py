"""A device's trials as its page shows them."""

from __future__ import annotations

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from comparisons.facts.words import kept_together
from comparisons.queries.device_rows import SORTS, Sort
from comparisons.ranking import expanded
from measurements.kinds import all_metrics
from measurements.models import Value
from measurements.templatetags.figures import MISSING, figure, uncertainty

register = template.Library()


@register.filter
def percent(share: float) -> str:
    """A share of one as whole per cents; a dash where it is not a number."""
    return figure(100 * share, 0)


register.filter(kept_together)


@register.filter
def order_words(sort: Sort) -> str:
    """What rows are ordered by, in words."""
    return SORTS[sort]


@register.simple_tag
def trial_value(value: Value | None) -> str | SafeString:
    """A value with U as a link to its run or table; what is not comparable is marked."""
    if value is None:
        return MISSING
    decimals = all_metrics()[value.metric].decimals
    if value.run_id:
        path = reverse("run", args=[value.run_id])
    else:
        path = reverse("result-table", args=[value.table_id])
    return format_html(
        '<span class="value"><a href="{}">{}</a> <span class="uncertainty">{}</span></span>{}{}',
        path,
        figure(value.value, decimals),
        uncertainty(expanded(value.stated_uncertainty), decimals),
        format_html('<span class="set-apart">{}</span>', "from a table") if value.table_id else "",
        format_html('<span class="set-apart">{}</span>', "not comparable") if value.apart else "",
    )
