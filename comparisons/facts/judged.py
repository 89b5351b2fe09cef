"""What published limits say of the values, and what to be careful with on the whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from uuid import UUID

from django.urls import reverse

from comparisons.facts.places import is_small
from comparisons.facts.sheets import Fact, Source
from comparisons.facts.values import run_source, sources_of, value_of
from comparisons.facts.words import counted, few, uncapitalised, where
from comparisons.queries.fact_material import FactMaterial
from comparisons.queries.judgements import JUDGED_BY_SENSORS, SCHEME_WORDS, Judgement, each_once
from comparisons.queries.placements import SMALL_COHORT, Placement
from measurements.kinds.instruments import listed
from measurements.models import Run
from measurements.templatetags.figures import figure

NO_CERTIFICATE = "A verdict is an indication from this bench, never a certification."
_TALLIED = (("pass", "passed"), ("undecided", "undecided"), ("fail", "failed"))


def verdict_facts(material: FactMaterial) -> Iterator[Fact]:
    """The band, a tally a scheme, and every verdict that is not a pass; nothing unjudged."""
    judged = [
        (placed, judgement)
        for placed in material.placements
        if not placed.apart and placed.source == "run"
        for judgement in material.judgements.get((placed.metric.key, placed.condition.key), ())
    ]
    if not judged:
        return
    yield from _band(material)
    verdicts = each_once(judgement for _, judgement in judged)
    yield from _tallies(verdicts)
    for placed, judgement in judged:
        if judgement.outcome != "pass":
            yield Fact(_open(placed, judgement), sources=sources_of(material, placed))
    departing = sum(bool(verdict.deviations) for verdict in verdicts)
    if departing:
        rest = (
            "rests on a measurement that departs"
            if departing == 1
            else ("rest on measurements that depart")
        )
        yield Fact(
            f"Of {counted(len(verdicts), 'verdict')}, {departing} {rest} from the method that the "
            "limit prescribes; the pages of the runs say how."
        )
    yield Fact(NO_CERTIFICATE)


def _band(material: FactMaterial) -> Iterator[Fact]:
    band = material.band
    if band is None:
        return
    both = "on both standby power and average efficiency"
    source = (Source("Page of the adapter", material.adapter.get_absolute_url()),)
    text = (
        f"The highest published tier that it passes {both} is {band.title}."
        if band.scheme
        else f"It passes no published tier {both}."
    )
    care: tuple[str, ...] = ()
    if band.borderline:
        verb = "is" if len(band.borderline) == 1 else "are"
        care = (
            f"{listed(band.borderline)} {verb} undecided: a limit lies within the uncertainty.",
        )
    yield Fact(text, care=care, sources=source)


def _tallies(judged: list[Judgement]) -> Iterator[Fact]:
    for scheme in dict.fromkeys((*SCHEME_WORDS, *(item.scheme for item in judged))):
        found = Counter(item.outcome for item in judged if item.scheme == scheme)
        if found:
            parts = [f"{found[name]} {word}" for name, word in _TALLIED if found[name]]
            yield Fact(
                f"By {SCHEME_WORDS.get(scheme, scheme)}, of "
                f"{counted(sum(found.values()), 'judged value')}: {listed(parts)}."
            )


def _open(placed: Placement, judgement: Judgement) -> str:
    """A verdict that is undecided or failed, as a sentence."""
    metric = placed.metric
    what = " ".join(part for part in (uncapitalised(metric.title), where(placed.condition)) if part)
    limit = ""  # of a headroom it is at zero
    if metric.key not in JUDGED_BY_SENSORS:
        limit = f" ({figure(judgement.limit, metric.decimals)}\u00a0{metric.unit})"
    if judgement.outcome == "fail":
        return (
            f"Its {what}, {value_of(placed)}, misses the limit of {judgement.words}"
            f"{limit} by more than U."
        )
    return (
        f"Whether its {what}, {value_of(placed)}, keeps the limit of {judgement.words}"
        f"{limit} cannot be decided: the limit lies within U."
    )


def caution_facts(material: FactMaterial, *, said: Iterable[Placement]) -> Iterator[Fact]:
    """How many units, flags, tables, small cohorts, what stands apart, and what can hurt.

    `said` are the values that the other sections speak of.
    """
    placed = tuple(said)
    runs = {
        item.run_id: material.runs[item.run_id]
        for item in placed
        if item.run_id is not None and item.run_id in material.runs
    }
    yield from _units(material.runs.values())
    yield from _flags(runs)
    if of_tables := sum(item.source == "table" for item in placed):
        verb = "comes" if of_tables == 1 else "come"
        yield Fact(f"{counted(of_tables, 'value')} {verb} from tables, without a raw record.")
    if apart := sum(bool(item.apart) for item in placed):
        verb = "is not comparable and has" if apart == 1 else "are not comparable and have"
        yield Fact(f"{counted(apart, 'value')} {verb} no place; the reason stands with each.")
    if small := sum(is_small(item) for item in placed):
        verb = "is" if small == 1 else "are"
        yield Fact(
            f"{counted(small, 'place')} {verb} among fewer than {SMALL_COHORT} adapters, and may "
            "change with the next one that is measured."
        )
    yield safety_fact()


def safety_fact() -> Fact:
    """What can hurt whoever measures again."""
    return Fact(
        "Mains voltage kills, a hot adapter burns, and an earthed probe can short an output: "
        "whoever repeats a measurement reads the cautions first.",
        sources=(Source("Cautions", reverse("cautions")),),
    )


def _units(runs: Iterable[Run]) -> Iterator[Fact]:
    units = sorted({run.unit.serial for run in runs})
    if not units:
        yield Fact(
            "No measured value of it stands; what stands here is from the catalogue or a table."
        )
    elif len(units) == 1:
        yield Fact(
            f"Every measured value is of one unit (serial {units[0]}); another unit may differ."
        )
    else:
        yield Fact(
            f"The measured values are of {few(len(units), 'unit')} (serials {listed(units)}), each "
            "value of one of them; another unit may differ."
        )


def _flags(runs: Mapping[UUID, Run]) -> Iterator[Fact]:
    for run_id in sorted(runs, reverse=True):
        run = runs[run_id]
        for flag in run.flags.all():
            yield Fact(
                f"{run.declared_kind.title}: {flag.detail}", sources=(run_source(run, run_id),)
            )
