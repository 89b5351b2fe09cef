"""The fact sheet of one adapter."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from functools import partial

from django.urls import reverse

from catalog.models import Adapter
from comparisons.facts.catalogued import identity_facts, profile_facts
from comparisons.facts.judged import caution_facts, verdict_facts
from comparisons.facts.measured import further_facts, measured_facts
from comparisons.facts.paired import device_facts, sharing_facts
from comparisons.facts.places import NOTE_ON_UNCERTAINTY, NOTE_ON_WORDS
from comparisons.facts.sheets import Fact, Sheet, in_order
from comparisons.queries.fact_material import FactMaterial

NOT_MEASURED = "Not measured."
NOT_JUDGED = "Not measured: no value of it was judged against a published limit."

BUILDERS: Mapping[str, Callable[[FactMaterial], Iterable[Fact]]] = {
    "identity": identity_facts,
    "profiles": profile_facts,
    "standby": partial(measured_facts, "standby"),
    "efficiency": partial(measured_facts, "efficiency"),
    "heat": partial(measured_facts, "heat"),
    "ripple": partial(measured_facts, "ripple"),
    "sharing": sharing_facts,
    "devices": device_facts,
    "charge": partial(measured_facts, "charge"),
    "further": further_facts,
    "verdicts": verdict_facts,
}


def adapter_sheet(material: FactMaterial, *, order: Sequence[str], on: date) -> Sheet:
    """Every section once, in that order; one without a value says so and guesses nothing."""
    adapter = material.adapter
    facts = {key: tuple(build(material)) for key, build in BUILDERS.items()}
    said = [fact.placed for found in facts.values() for fact in found if fact.placed is not None]
    facts["verdicts"] = facts["verdicts"] or (Fact(NOT_JUDGED),)
    facts["cautions"] = tuple(caution_facts(material, said=said))
    return Sheet(
        title=f"Facts on {adapter}",
        path=reverse("adapter-facts", args=[adapter.slug]),
        sections=in_order(facts, order=order, missing=NOT_MEASURED),
        notes=(
            f"As it stands on {on.day} {on:%B %Y}. {NOTE_ON_UNCERTAINTY}",
            NOTE_ON_WORDS,
            *_embargo(adapter),
        ),
    )


def _embargo(adapter: Adapter) -> tuple[str, ...]:
    """What whoever sees it early must know."""
    day = adapter.publish_on
    if adapter.is_published or day is None:
        return ()
    return (f"Under embargo until {day.day} {day:%B %Y}: readers see nothing of it.",)
