"""A placed value as a fact: number, place, what to be careful with, and where it is from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from uuid import UUID

from django.urls import reverse

from comparisons.facts.places import place_sentence
from comparisons.facts.sheets import Fact, Source
from comparisons.facts.words import capitalised, quantity
from comparisons.queries.fact_material import FactMaterial
from comparisons.queries.judgements import Judgement
from comparisons.queries.placements import Placement
from measurements.kinds.instruments import listed, spoken
from measurements.models import Run

CATALOGUE = "Catalogue"


def value_of(placed: Placement) -> str:
    """The value with U and unit."""
    metric = placed.metric
    return quantity(
        placed.value, placed.expanded_uncertainty, unit=metric.unit, decimals=metric.decimals
    )


def placed_fact(material: FactMaterial, placed: Placement, text: str) -> Fact:
    """The sentence `text` on a placed value, with all that belongs to it."""
    return Fact(
        text=text,
        place=place_sentence(placed),
        care=tuple(_care(material, placed)),
        sources=sources_of(material, placed),
        placed=placed,
    )


def sources_of(material: FactMaterial, placed: Placement) -> tuple[Source, ...]:
    """The run or the table of a value, or the catalogue."""
    if placed.run_id is not None:
        return (run_source(material.runs.get(placed.run_id), placed.run_id),)
    if placed.table_id is not None:
        path = reverse("result-table", args=[placed.table_id])
        return (Source("Table of results", path),)
    return (Source(CATALOGUE, material.adapter.get_absolute_url()),)


def run_source(run: Run | None, run_id: UUID) -> Source:
    """A run by its day and its page."""
    path = reverse("run", args=[run_id])
    if run is None:
        return Source("Run", path)
    day = run.measured_at or run.received_at
    return Source(f"Run of {day.day} {day:%B %Y}", path)


def flags_in_words(run: Run) -> str:
    """The flags of a run as words: ``narrow bandwidth and still rising``."""
    return listed(spoken(flag.code.replace("-", "_")) for flag in run.flags.all())


def undecided(found: Iterable[Judgement]) -> str:
    """The schemes that cannot be decided, as a list; empty without any."""
    return listed(item.words for item in found if item.outcome == "undecided")


def _care(material: FactMaterial, placed: Placement) -> Iterator[str]:
    if placed.source == "table":
        yield "From a table, without a raw record."
    run = None if placed.run_id is None else material.runs.get(placed.run_id)
    if run is not None and (flags := flags_in_words(run)):
        yield f"Its run is flagged: {flags}."
    found = material.judgements.get((placed.metric.key, placed.condition.key), ())
    if not placed.apart and placed.source == "run" and (open_to := undecided(found)):
        yield capitalised(f"undecided against {open_to}: the limit lies within U.")
