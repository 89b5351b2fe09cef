"""All that the page of an adapter shows, read in a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from catalog.charts import ProfileChart, profile_chart
from catalog.models import Adapter, LabelClaim, Port, Viewer
from catalog.power_delivery.capability import highest_power_w
from catalog.queries import adapter_in_full
from comparisons.queries.adapter_summaries import Line, SchemeCount, scheme_counts, summary
from comparisons.queries.bands import Band, bands
from comparisons.queries.bench_details import (
    Charge,
    KindDetails,
    charges,
    standing_matrices,
    value_grids,
)
from comparisons.queries.cohorts import results_of_tables
from comparisons.queries.device_pairings import NamedPairing, slow_pairings_of
from comparisons.queries.judgements import Judgement, each_once, judgements, nearest
from comparisons.queries.kind_results import KindResult, kind_results
from comparisons.queries.placements import (
    HEADLINES,
    PLACE_WORDS,
    SMALL_COHORT,
    Placement,
    placements,
)
from comparisons.queries.ratings import Rating, ratings
from comparisons.queries.similar import POWER_WITHIN, Similar, similar
from measurements.kinds import all_kinds
from measurements.kinds.base import Metric
from measurements.models import Run
from measurements.queries import PortCapability, port_capabilities, runs_listed

# How a sentence names a headline metric, and its place.
_LEAD_WORDS = {
    "no-load-power": "standby power",
    "average-efficiency": "average efficiency",
    "thermal-headroom": "thermal headroom",
}

# More lines than this of one metric are folded.
FOLDED_FROM = 6

_NUMBERS = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


@dataclass(frozen=True, slots=True)
class Entry:
    """A placement with the verdicts on its value."""

    placement: Placement
    judgements: tuple[Judgement, ...]

    @property
    def drawn_limit(self) -> Judgement | None:
        """The judgement whose limit is drawn: the nearest to the value."""
        return nearest(self.judgements)

    @property
    def condition_key(self) -> str:
        """The condition as the ranking's address names it."""
        return self.placement.condition.key


@dataclass(frozen=True, slots=True)
class MetricGroup:
    """The placements of one metric, under all its conditions."""

    metric: Metric
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class ScannedPort:
    """A port as the page shows what it advertises."""

    capability: PortCapability

    @property
    def words(self) -> str:
        """Its best profile in a few words."""
        if not self.capability.objects:
            return "no power data object read"
        count = len(self.capability.objects)
        best = highest_power_w(self.capability.objects)
        return f"up to {best:g} W in {count} profile{'' if count == 1 else 's'}"

    @property
    def chart(self) -> ProfileChart | None:
        """Current over voltage; None without a profile to draw."""
        return profile_chart(self.capability.objects)

    @property
    def has_faults(self) -> bool:
        """Whether the audit found more than notes."""
        return any(item.severity != "note" for item in self.capability.findings)

    @property
    def finding_words(self) -> str:
        """How many findings of which severity."""
        counts = Counter(item.severity for item in self.capability.findings)
        parts = [
            f"{counts[name]} {name}{'' if counts[name] == 1 else 's'}"
            for name in ("error", "warning", "note")
            if counts[name]
        ]
        return f"The audit found {' and '.join(parts)}"


@dataclass(frozen=True, slots=True)
class AdapterPage:
    """An adapter, where it stands, and what was and was not tested.

    `headlines` holds one entry a headline metric, `groups` the other placements, `apart` the
    values that are not comparable, `gaps` sentences on what has no accepted run. `capabilities`
    has one entry a port, `grids` and `matrices` what the kinds draw of their standing values and
    runs, `charges` the devices that it charged, `slow_pairings` those that it charged slowly.
    `of_tables` is how many results it has by tables alone, `tables` whether they are counted.
    `summary` says the whole in a few lines, `ratings` set what is stated against what was found,
    `schemes` count the verdicts, `results` has one run of each kind to look at first.
    """

    adapter: Adapter
    headlines: tuple[Entry, ...]
    groups: tuple[MetricGroup, ...]
    apart: tuple[Placement, ...]
    band: Band | None
    runs: tuple[Run, ...]
    gaps: tuple[str, ...]
    capabilities: tuple[PortCapability, ...]
    grids: tuple[KindDetails, ...]
    matrices: tuple[KindDetails, ...]
    charges: tuple[Charge, ...]
    slow_pairings: tuple[NamedPairing, ...]
    of_tables: int
    tables: bool
    summary: tuple[Line, ...]
    ratings: tuple[Rating, ...]
    schemes: tuple[SchemeCount, ...]
    results: tuple[KindResult, ...]
    similar: tuple[Similar, ...]

    @property
    def shown_groups(self) -> tuple[MetricGroup, ...]:
        """The groups that are short enough to be read at once."""
        return tuple(group for group in self.groups if len(group.entries) <= FOLDED_FROM)

    @property
    def folded_groups(self) -> tuple[tuple[MetricGroup], ...]:
        """The groups that would push everything else off the page, each by itself."""
        return tuple((group,) for group in self.groups if len(group.entries) > FOLDED_FROM)

    @property
    def telling_ratings(self) -> tuple[Rating, ...]:
        """The ratings, and the lines of the label that a scan did not simply confirm."""
        return tuple(row for row in self.ratings if not row.agrees)

    @property
    def confirmed_claims(self) -> tuple[Rating, ...]:
        """The lines of the label that a scan found advertised as claimed."""
        return tuple(row for row in self.ratings if row.agrees)

    @property
    def power_from(self) -> str:
        """The least rated power of a similar adapter, as an address says it. [W]"""
        return f"{self.adapter.rated_power_w * (1 - POWER_WITHIN):.4g}"

    @property
    def power_to(self) -> str:
        """The highest rated power of a similar adapter, as an address says it. [W]"""
        return f"{self.adapter.rated_power_w * (1 + POWER_WITHIN):.4g}"

    @property
    def scanned(self) -> tuple[ScannedPort, ...]:
        """The ports whose capability is known from a scan."""
        return tuple(ScannedPort(item) for item in self.capabilities if item.run_id)

    @property
    def tables_said(self) -> str:
        """How addresses of this view say whether results from tables count; "" where none are."""
        return ("in" if self.tables else "out") if self.of_tables else ""

    @property
    def description(self) -> str:
        """Rating, ports, size, mass and price in one sentence."""
        adapter = self.adapter
        parts = [f"{adapter.rated_power_w:g} W", *_ports_in_words(self.ports)]
        if adapter.volume_cm3 is not None:
            parts.append(f"{adapter.volume_cm3:.1f} cm³")
        if adapter.mass_g is not None:
            parts.append(f"{adapter.mass_g:g} g")
        if adapter.price is not None:
            parts.append(f"{adapter.price} {adapter.currency}")
        return ", ".join(parts) + "."

    @property
    def ports(self) -> tuple[Port, ...]:
        """Its ports in order; read with the adapter."""
        return tuple(self.adapter.ports.all())

    @property
    def claims(self) -> tuple[LabelClaim, ...]:
        """What is printed on it; read with the adapter."""
        return tuple(self.adapter.claims.all())

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """What the catalogue says of it, by name, leaving out what it does not say."""
        adapter = self.adapter
        mains = size = price = released = ""
        if adapter.mains_min_v is not None and adapter.mains_max_v is not None:
            mains = f"{adapter.mains_min_v:g}–{adapter.mains_max_v:g} V"
        if adapter.volume_cm3 is not None:
            sides = (adapter.length_mm, adapter.width_mm, adapter.height_mm)
            size = " × ".join(f"{side:g}" for side in sides if side is not None)
            size += f" mm, {adapter.volume_cm3:.1f} cm³ without plug pins"
        if adapter.price is not None:
            price = f"{adapter.price} {adapter.currency}"
        if adapter.released_on is not None:
            released = f"{adapter.released_on:%B %Y}"
        facts = (
            ("Maker", adapter.maker.name),
            ("Model number", adapter.model_number),
            ("Rated power", f"{adapter.rated_power_w:g} W"),
            ("Supply", adapter.get_supply_display()),
            ("Mains", mains),
            ("Size", size),
            ("Mass", f"{adapter.mass_g:g} g" if adapter.mass_g is not None else ""),
            ("Enclosure", adapter.get_enclosure_display()),
            ("Plug", adapter.plug),
            ("Released", released),
            ("Price", price),
        )
        return tuple((name, fact) for name, fact in facts if fact)

    @property
    def place_words(self) -> tuple[tuple[str, float], ...]:
        """The words for places and the least share that each stands for. [%]"""
        return tuple((word, least) for least, word in PLACE_WORDS)

    @property
    def place_sentence(self) -> str:
        """Where the headlines stand, in one sentence; "" when none is placed among enough."""
        parts: list[str] = []
        for entry in self.headlines:
            place = entry.placement
            if place.place_word and place.count >= SMALL_COHORT and place.source != "table":
                verb = "" if parts else " is"
                name = _LEAD_WORDS[place.metric.key]
                parts.append(f"its {name}{verb} in the {place.place_word} part")
        if not parts:
            return ""
        listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
        return f"On this bench {listed}."


def adapter_page(slug: str, *, viewer: Viewer, tables: bool = False) -> AdapterPage | None:
    """The page of an adapter; None if this viewer may not know of it."""
    adapter = adapter_in_full(slug, viewer=viewer)
    if adapter is None:
        return None
    placed = placements(adapter, viewer=viewer, tables=tables)
    verdicts = judgements(placed)
    entries = [
        Entry(item, verdicts.get((item.metric.key, item.condition.key), ()))
        for item in placed
        if not item.apart
    ]
    headlines = _headlines(entries)
    runs = tuple(runs_listed(viewer=viewer).select_related("superseded_by").filter(adapter=adapter))
    band = bands([adapter], viewer=viewer).get(adapter.pk)
    capabilities = port_capabilities(adapter)
    judged = each_once(judgement for entry in entries for judgement in entry.judgements)
    return AdapterPage(
        adapter=adapter,
        headlines=headlines,
        groups=_groups(entry for entry in entries if entry not in headlines),
        apart=tuple(item for item in placed if item.apart),
        band=band,
        runs=runs,
        gaps=_gaps(runs),
        capabilities=capabilities,
        grids=value_grids(adapter),
        matrices=standing_matrices(runs),
        charges=charges(adapter, viewer=viewer),
        slow_pairings=slow_pairings_of(adapter, viewer=viewer),
        of_tables=results_of_tables(viewer=viewer, as_of=None).filter(adapter=adapter).count(),
        tables=tables,
        summary=summary(
            adapter,
            placed=placed,
            judged=judged,
            band=band,
            capabilities=capabilities,
            runs=runs,
        ),
        ratings=ratings(adapter, placed=placed, capabilities=capabilities),
        schemes=scheme_counts(judged),
        results=kind_results(runs),
        similar=similar(adapter, headlines=[entry.placement for entry in headlines], viewer=viewer),
    )


def _ports_in_words(ports: Sequence[Port]) -> list[str]:
    """``two USB-C and one USB-A``, as a list of one; empty without ports."""
    counts: dict[str, int] = {}
    for port in ports:
        name = port.get_connector_display()
        counts[name] = counts.get(name, 0) + 1
    words = [f"{_NUMBERS.get(count, count)} {name}" for name, count in counts.items()]
    return [" and ".join(words)] if words else []


def _headlines(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The first entry of every headline metric."""
    first: dict[str, Entry] = {}
    for entry in entries:
        first.setdefault(entry.placement.metric.key, entry)
    return tuple(first[key] for key in HEADLINES if key in first)


def _groups(entries: Iterable[Entry]) -> tuple[MetricGroup, ...]:
    grouped: dict[str, list[Entry]] = {}
    for entry in entries:
        grouped.setdefault(entry.placement.metric.key, []).append(entry)
    return tuple(MetricGroup(found[0].placement.metric, tuple(found)) for found in grouped.values())


def _gaps(runs: Sequence[Run]) -> tuple[str, ...]:
    """What no accepted run covers, kind by kind and mains voltage by mains voltage."""
    tested: dict[str, set[str]] = {}
    for run in runs:
        if run.standing == Run.Standing.ACCEPTED:
            tested.setdefault(run.kind, set()).add(run.line)
    gaps = []
    for kind in all_kinds():
        lines = tested.get(kind.slug)
        if lines is None:
            gaps.append(f"{kind.title}: no accepted run.")
        elif kind.needs_mains and "high" not in lines:
            gaps.append(f"{kind.title}: not tested at 230 V mains.")
        elif kind.needs_mains and "low" not in lines:
            gaps.append(f"{kind.title}: not tested at 115 V mains.")
    return tuple(gaps)
