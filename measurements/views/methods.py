"""How every number is made, and what to be careful of."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import count

import markdown
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from measurements.kinds import all_kinds, get_kind, method_notes, physical
from measurements.kinds.base import Metric
from measurements.standards.sources import SOURCES, Source


@dataclass(frozen=True, slots=True)
class Definition:
    """A metric and the work that its definition comes from."""

    metric: Metric
    source: Source


def _definitions(metrics: tuple[Metric, ...]) -> list[Definition]:
    return [Definition(metric, SOURCES[metric.source]) for metric in metrics]


@require_safe
def method_list(request: HttpRequest) -> HttpResponse:
    """Every kind of run with its metrics, and those that need no run."""
    context = {
        "section": "methods",
        "kinds": all_kinds(),
        "physical": _definitions(physical.METRICS),
        "sources": SOURCES.values(),
    }
    return render(request, "measurements/method_list.html", context)


@require_safe
def method(request: HttpRequest, kind: str) -> HttpResponse:
    """One kind: how to measure, what is computed, from which source."""
    try:
        declared = get_kind(kind)
    except KeyError as error:
        raise Http404 from error
    context = {
        "section": "methods",
        "kind": declared,
        "definitions": _definitions(declared.metrics),
        "notes": _notes(kind),
    }
    return render(request, "measurements/method.html", context)


@require_safe
def cautions(request: HttpRequest) -> HttpResponse:
    """What can hurt, and what a verdict is not."""
    context = {"section": "", "kinds": all_kinds()}
    return render(request, "measurements/cautions.html", context)


@cache
def _notes(kind: str) -> SafeString:
    """The kind's README as HTML, without its title, which the page has already.

    It is part of the program, so what it says may be marked as safe.
    """
    text = re.sub(r"\A# .*\n", "", method_notes(kind))
    # Alignment as an attribute: the site's policy forbids styles written into a page.
    html = markdown.markdown(
        text,
        extensions=["tables"],
        extension_configs={"tables": {"use_align_attribute": True}},
    )
    number = count(1)
    html = re.sub(
        "<table>",
        lambda _: (
            '<div class="scroll" tabindex="0" role="region" '
            f'aria-label="Table {next(number)} of the notes"><table>'
        ),
        html,
    )
    html = html.replace("</table>", "</table></div>")
    return mark_safe(re.sub(r"<th(?=[ >])", '<th scope="col"', html))
