"""Strips and dots as inline SVG, from cohorts and values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django import template

from comparisons.charts import pairs
from comparisons.charts import strips as charts
from comparisons.queries.adapter_pages import Entry
from comparisons.queries.cohorts import Cohort
from comparisons.queries.judgements import Judgement
from comparisons.queries.pairs import Pair, PairedRow
from comparisons.queries.placements import Placement
from comparisons.queries.rankings import PublishedLimit, RankedRow
from measurements.templatetags.figures import condition_words, figure, uncertainty

register = template.Library()

OUTCOME_SIGNS = {"pass": "✓", "fail": "✕", "undecided": "≈"}


@register.inclusion_tag("comparisons/strip.html")
def entry_strip(entry: Entry) -> dict[str, Any]:
    """The cohort of a placement with the adapter's mark and the nearest published limit."""
    limit = entry.drawn_limit
    if limit is None:
        return _placed(entry.placement, limits=[], compact=False)
    unit = entry.placement.metric.unit
    label = f"limit {limit.limit:.4g} {unit}, {limit.words}" if limit.limit else "touch limit"
    return _placed(entry.placement, limits=[charts.Limit(limit.limit, label)], compact=False)


@register.inclusion_tag("comparisons/strip.html")
def compact_strip(entry: Entry) -> dict[str, Any]:
    """The same in one low line without print."""
    return _placed(entry.placement, limits=[], compact=True)


@register.inclusion_tag("comparisons/strip.html")
def cohort_strip(
    cohort: Cohort, mark: Placement | None = None, limits: Iterable[PublishedLimit] = ()
) -> dict[str, Any]:
    """A cohort by itself; `mark` is the placement of one of its adapters."""
    unit = cohort.metric.unit
    drawn = [charts.Limit(limit.value, f"{limit_figure(limit.value)} {unit}") for limit in limits]
    if mark is not None and mark.cohort is not None:
        return _placed(mark, limits=drawn, compact=False)
    return _drawn(cohort, title=_cohort_sentence(cohort), limits=drawn)


@register.filter
def limit_figure(value: float) -> str:
    """A published limit, with as many digits as it has up to four."""
    return f"{value:.4g}"


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


@register.inclusion_tag("comparisons/pair_plot.html")
def pair_plot(
    found: Pair, drawing: pairs.Scatter, finding: str, front: list[PairedRow]
) -> dict[str, Any]:
    """Two metrics against each other; the table of all stands on the same page."""
    x, y = found.x.metric, found.y.metric
    ends = [
        f"{metric.title} from {figure(float(values.min()), metric.decimals)} to "
        f"{figure(float(values.max()), metric.decimals)} {metric.unit}"
        for metric, values in ((x, found.x_values), (y, found.y_values))
    ]
    names = ", ".join(str(row.adapter) for row in front)
    return {
        "drawing": drawing,
        "finding": finding,
        "described": f"{len(found)} adapters. {ends[0]}; {ends[1]}. On the front: {names}.",
        "x": x,
        "units": pairs.UNITS,
    }


def _placed(
    placement: Placement, *, limits: Sequence[charts.Limit], compact: bool
) -> dict[str, Any]:
    cohort = placement.cohort
    if cohort is None:
        return {"strip": None}
    metric = placement.metric
    own = f"{figure(placement.value, metric.decimals)} {metric.unit}"
    return _drawn(
        cohort,
        title=(
            f"{metric.title}, {condition_words(placement.condition)}: {own}. {placement.in_words}"
        ),
        mark=placement.value,
        limits=limits,
        compact=compact,
    )


def _drawn(
    cohort: Cohort,
    *,
    title: str,
    mark: float | None = None,
    limits: Sequence[charts.Limit] = (),
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
            limits=limits,
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
