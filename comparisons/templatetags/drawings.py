"""Strips and dots as inline SVG, from cohorts and values."""

from __future__ import annotations

from typing import Any

from django import template

from comparisons.charts import strips as charts
from comparisons.queries.adapter_pages import Entry
from comparisons.queries.cohorts import Cohort
from comparisons.queries.judgements import Judgement
from comparisons.queries.placements import Placement
from comparisons.queries.rankings import RankedRow
from measurements.templatetags.figures import condition_words, figure, uncertainty

register = template.Library()

OUTCOME_SIGNS = {"pass": "✓", "fail": "✕", "undecided": "≈"}


@register.inclusion_tag("comparisons/strip.html")
def entry_strip(entry: Entry) -> dict[str, Any]:
    """The cohort of a placement with the adapter's mark and the nearest published limit."""
    return _placed(entry.placement, limit=entry.drawn_limit, compact=False)


@register.inclusion_tag("comparisons/strip.html")
def compact_strip(entry: Entry) -> dict[str, Any]:
    """The same in one low line without print."""
    return _placed(entry.placement, limit=None, compact=True)


@register.inclusion_tag("comparisons/strip.html")
def cohort_strip(cohort: Cohort, mark: Placement | None = None) -> dict[str, Any]:
    """A cohort by itself; `mark` is the placement of one of its adapters."""
    if mark is not None and mark.cohort is not None:
        return _placed(mark, limit=None, compact=False)
    return _drawn(cohort, title=_cohort_sentence(cohort))


@register.filter
def outcome_sign(outcome: str) -> str:
    """The sign that stands before the word of an outcome."""
    return OUTCOME_SIGNS[outcome]


@register.inclusion_tag("comparisons/verdict_words.html")
def verdict_words(judgements: tuple[Judgement, ...]) -> dict[str, Any]:
    """What each scheme says of a value, as a list."""
    return {"judgements": judgements}


@register.inclusion_tag("comparisons/verdict_counts.html")
def verdict_counts(judgements: tuple[Judgement, ...]) -> dict[str, Any]:
    """The same in a few words: what is failed or undecided by name, what is passed by number."""
    passed = [item for item in judgements if item.outcome == "pass"]
    return {
        "named": [item for item in judgements if item.outcome != "pass"],
        "passed": len(passed),
        "only": passed[0].words if len(judgements) == 1 and passed else "",
    }


@register.simple_tag
def scale_of(cohort: Cohort) -> charts.Scale | None:
    """The scale that all dots of a ranking share; None for an empty cohort."""
    return charts.common_scale(cohort.values, cohort.uncertainties) if len(cohort) else None


@register.filter
def scale_words(scale: charts.Scale, unit: str) -> str:
    """The ends of a scale."""
    return charts.scale_text(scale, unit=unit)


@register.inclusion_tag("comparisons/dot.html")
def scale_dot(row: RankedRow, scale: charts.Scale) -> dict[str, Any]:
    """A ranked value as a dot with its uncertainty; its number stands in the same row."""
    return {"dot": charts.dot(row.value, row.standard_uncertainty, scale=scale)}


def _placed(placement: Placement, *, limit: Judgement | None, compact: bool) -> dict[str, Any]:
    cohort = placement.cohort
    if cohort is None:
        return {"strip": None}
    metric = placement.metric
    own = f"{figure(placement.value, metric.decimals)} {metric.unit}"
    label = "touch limit"
    if limit is not None and limit.limit:
        label = f"limit {limit.limit:.4g} {metric.unit}, {limit.words}"
    return _drawn(
        cohort,
        title=(
            f"{metric.title}, {condition_words(placement.condition)}: {own}. {placement.in_words}"
        ),
        mark=placement.value,
        limit=None if limit is None else charts.Limit(limit.limit, label),
        compact=compact,
    )


def _drawn(
    cohort: Cohort,
    *,
    title: str,
    mark: float | None = None,
    limit: charts.Limit | None = None,
    compact: bool = False,
) -> dict[str, Any]:
    return {
        "strip": charts.strip(
            cohort.values,
            spread=cohort.spread,
            better=cohort.metric.better,
            unit=cohort.metric.unit,
            title=title,
            mark=mark,
            limit=limit,
        ),
        "compact": compact,
        "units": charts.STRIP_UNITS,
    }


def _cohort_sentence(cohort: Cohort) -> str:
    metric, spread = cohort.metric, cohort.spread
    if spread.quartiles is None:
        return f"{metric.title}: no adapter measured."
    lower, middle, upper = (figure(value, metric.decimals) for value in spread.quartiles)
    return (
        f"{metric.title}, {condition_words(cohort.condition)}: {spread.count} adapters, "
        f"median {middle} {metric.unit}, middle half from {lower} to {upper} {metric.unit}."
    )


@register.filter
def with_uncertainty(placement: Placement) -> str:
    """A placed value with its unit and expanded uncertainty, in running text."""
    decimals = placement.metric.decimals
    value = figure(placement.value, decimals)
    return (
        f"{value} {uncertainty(placement.expanded_uncertainty, decimals)} {placement.metric.unit}"
    )
