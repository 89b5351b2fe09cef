"""Formulas as MathML."""

from __future__ import annotations

from django import template
from django.utils.safestring import SafeString, mark_safe

from measurements.charts.formulas import mathml

register = template.Library()


@register.filter
def typeset(formula: str) -> SafeString:
    """A declared formula as a MathML element, "" where it is nothing but words.

    Every sign that comes from the formula is escaped where the element is written.
    """
    return mark_safe(mathml(formula))
