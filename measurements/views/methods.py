"""How every number is made, and what to be careful of."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import count

import markdown
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from measurements.kinds import all_kinds, method_notes
from measurements.kinds.base import Metric
from measurements.standards.glossary import GLOSSARY
from measurements.standards.sources import SOURCES, Source


@dataclass(frozen=True, slots=True)
class Definition:
    """A metric and the work that its definition comes from."""

    metric: Metric
    source: Source

    @property
    def compared_by(self) -> str:
        """The parts of the condition under which values are compared, in words."""
        return ", ".join(_PARTS[part] for part in self.metric.condition)


_PARTS = {
    "line": "mains",
    "output_v": "output voltage",
    "load": "load",
    "load_percent": "share of the load",
    "device": "device",
    "sensor": "sensor",
    "port": "port",
}


def definitions(metrics: tuple[Metric, ...]) -> list[Definition]:
    """Metrics with the works that define them."""
    return [Definition(metric, SOURCES[metric.source]) for metric in metrics]


@require_safe
def glossary_page(request: HttpRequest) -> HttpResponse:
    """The words of the trade and those of this site."""
    context = {"section": "methods", "parts": GLOSSARY.items()}
    return render(request, "measurements/glossary.html", context)


@require_safe
def cautions(request: HttpRequest) -> HttpResponse:
    """What can hurt, and what a verdict is not."""
    context = {"section": "", "kinds": all_kinds()}
    return render(request, "measurements/cautions.html", context)


@cache
def notes_of(kind: str) -> SafeString:
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
    html = html.replace("<h2>Uncertainty</h2>", '<h2 id="uncertainty">Uncertainty</h2>')
    return mark_safe(re.sub(r"<th(?=[ >])", '<th scope="col"', html))
