"""Numbers as a page shows them: fixed decimals, a true minus sign, uncertainty at k = 2."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Any

from django import template

from measurements import queries
from measurements.kinds.base import Condition
from measurements.metrics.decision import COVERAGE_FACTOR
from measurements.metrics.limits import SCHEMES
from measurements.standards import iec_62368_1_2018 as touch
from measurements.standards import usb_pd_output_tolerance
from measurements.standards.sources import SOURCES

register = template.Library()

MISSING = "–"
NOT_STATED = "U not stated"
# Groups of three digits part by a narrow no-break space (ISO 80000-1, 7.3.1), from 10 000 on.
GROUPING_FROM = 10_000
_LEAST_SHARE = 1e-4


@register.filter
def figure(value: float | None, decimals: int) -> str:
    """A number with `decimals` places and the minus sign of print; a dash for none."""
    if value is None or not math.isfinite(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    if abs(value) >= GROUPING_FROM:
        text = f"{value:,.{decimals}f}".replace(",", "\u202f")
    if not text.strip("-0."):
        text = text.lstrip("-")  # a rounded zero has no sign
    return text.replace("-", "−")


@register.filter
def grouped(count: int) -> str:
    """A count with its thousands parted: ``14 310``."""
    return f"{count:,}".replace(",", "\u202f")


@register.filter
def uncertainty(expanded: float | None, decimals: int) -> str:
    """An expanded uncertainty behind its sign: ``± 0.0014``.

    One that would round to nothing keeps one significant digit instead, unless it is smaller than
    a ten-thousandth of the last place shown: nobody reads that many noughts. A bare ``± 0`` is
    what it says: nothing that could be off is known of, as in an advertised number. None is the
    uncertainty that a table of results did not give.
    """
    if expanded is None:
        return NOT_STATED
    if not math.isfinite(expanded):
        return ""
    if expanded < _LEAST_SHARE * 10**-decimals:
        return "± 0"
    if 0 < expanded < 0.5 * 10**-decimals:
        decimals = -math.floor(math.log10(expanded))
    return f"± {figure(expanded, decimals)}"


@register.filter
def expanded(standard_uncertainty: float | None) -> float | None:
    """U = k · u at the coverage factor k = 2 of every page; None where u is not known."""
    return None if standard_uncertainty is None else COVERAGE_FACTOR * standard_uncertainty


@register.filter
def condition_words(condition: Condition | Mapping[str, Any]) -> str:
    """A condition, or its JSON as a verdict keeps it, in words."""
    if not isinstance(condition, Condition):
        condition = Condition(**condition)
    return queries.condition_in_words(condition)


@register.filter
def scheme_title(key: str) -> str:
    """What a scheme of limits is called; its key where it has no title of its own."""
    return _scheme_titles().get(key, key)


@cache
def _scheme_titles() -> Mapping[str, str]:
    return {
        **{source.key: source.title for source in SOURCES.values()},
        touch.KEY: touch.TITLE,
        usb_pd_output_tolerance.KEY: usb_pd_output_tolerance.TITLE,
        **{scheme.key: scheme.title for scheme in SCHEMES},
    }
