"""An adapter in a few lines, each with the place on its page that says more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from catalog.models import Adapter
from catalog.power_delivery.capability import highest_power_w
from comparisons.queries.bands import Band
from comparisons.queries.judgements import SCHEME_WORDS, Judgement
from comparisons.queries.placements import Placement
from comparisons.queries.ratings import HIGHEST_OF_ITS, SEEN_BY, strongest
from measurements.kinds import all_kinds
from measurements.models import Run
from measurements.queries import PortCapability


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence of the summary, and the part of the page that it comes from."""

    text: str
    anchor: str


@dataclass(frozen=True, slots=True)
class SchemeCount:
    """How many values were judged by a scheme, by outcome; `deviations` are what it notes."""

    words: str
    passed: int
    undecided: int
    failed: int
    deviations: int


def scheme_counts(found: Iterable[Judgement]) -> tuple[SchemeCount, ...]:
    """Verdicts counted by scheme, in the order in which schemes are shown."""
    counts: dict[str, Counter[str]] = {}
    departing: Counter[str] = Counter()
    for item in found:
        counts.setdefault(item.words, Counter())[item.outcome] += 1
        departing[item.words] += bool(item.deviations)
    order = {words: place for place, words in enumerate(SCHEME_WORDS.values())}
    return tuple(
        SchemeCount(
            words, count["pass"], count["undecided"], count["fail"], deviations=departing[words]
        )
        for words, count in sorted(counts.items(), key=lambda row: order.get(row[0], len(order)))
    )


def summary(
    adapter: Adapter,
    *,
    placed: Sequence[Placement],
    judged: Sequence[Judgement],
    band: Band | None,
    capabilities: Sequence[PortCapability],
    runs: Sequence[Run],
) -> tuple[Line, ...]:
    """At most six lines; what nobody knows is said or left out, never guessed. No query."""
    lines = (
        _power(adapter, strongest(placed)),
        _profiles(capabilities),
        _verdicts(judged, band),
        _audit(capabilities),
        _tested(runs),
        _apart(placed),
    )
    return tuple(line for line in lines if line is not None)


def _power(adapter: Adapter, seen: Placement | None) -> Line | None:
    if seen is None:
        return None
    share = 100 * seen.value / adapter.rated_power_w
    return Line(
        f"The {HIGHEST_OF_ITS} is {seen.value:.{seen.metric.decimals}f} W "
        f"({SEEN_BY[seen.metric.key]}), {share:.0f} % of the rated {adapter.rated_power_w:g} W.",
        "ratings",
    )


def _profiles(capabilities: Sequence[PortCapability]) -> Line | None:
    objects = [item for port in capabilities for item in port.objects]
    if not objects:
        return None
    voltages = [item.voltage_max_v for item in objects if item.voltage_max_v is not None]
    scanned = sum(1 for item in capabilities if item.objects)
    power = max(highest_power_w(item.objects) for item in capabilities)
    return Line(
        f"{scanned} scanned port{'' if scanned == 1 else 's'} "
        f"advertise{'s' if scanned == 1 else ''} up to {power:g} W and {max(voltages):g} V."
        if voltages
        else f"Its ports advertise up to {power:g} W.",
        "capability",
    )


def _verdicts(judged: Sequence[Judgement], band: Band | None) -> Line | None:
    if not judged:
        return None
    counts = Counter(item.outcome for item in judged)
    undecided = counts["undecided"]
    told = [
        f"{counts['pass']} passed" if counts["pass"] else "",
        f"{undecided} {'is' if undecided == 1 else 'are'} undecided" if undecided else "",
        f"{counts['fail']} failed" if counts["fail"] else "",
    ]
    total = len(judged)
    text = f"Of {total} comparison{'' if total == 1 else 's'} with published limits, "
    text += ", ".join(_listed([part for part in told if part])) + "."
    if band is not None:
        text += (
            f" Highest published tier passed: {band.title}."
            if band.scheme
            else " It passes no published tier of efficiency."
        )
    return Line(text, "verdicts")


def _audit(capabilities: Sequence[PortCapability]) -> Line | None:
    scanned = [item for item in capabilities if item.run_id is not None and item.objects]
    if not scanned:
        return None
    counts = Counter(finding.severity for item in scanned for finding in item.findings)
    told = [
        f"{counts[name]} {name}{'' if counts[name] == 1 else 's'}"
        for name in ("error", "warning")
        if counts[name]
    ]
    what = " and ".join(told) if told else "nothing to object to"
    return Line(f"The audit of what its ports advertise found {what}.", "capability")


def _tested(runs: Sequence[Run]) -> Line:
    accepted = [run for run in runs if run.standing == Run.Standing.ACCEPTED]
    kinds = all_kinds()
    if not accepted:
        return Line("Nothing has been tested: no run of it was accepted yet.", "not-tested")
    done = {run.kind for run in accepted}
    units = len({run.unit_id for run in accepted})
    newest = max(run.measured_at or run.received_at for run in accepted)
    replaced = sum(1 for run in runs if run.superseded_by_id is not None)
    text = (
        f"Tested by {len(done)} of {len(kinds)} methods on {units} unit"
        f"{'' if units == 1 else 's'}, in {len(accepted)} accepted run"
        f"{'' if len(accepted) == 1 else 's'}, the newest of {newest:%-d %B %Y}."
    )
    if replaced:
        text += f" {replaced} earlier run{' was' if replaced == 1 else 's were'} replaced."
    missing = [kind.title.lower() for kind in kinds if kind.slug not in done]
    if missing:
        text += f" Not tested: {', '.join(_listed(missing))}."
    return Line(text, "not-tested" if missing else "runs")


def _listed(names: Sequence[str]) -> Iterator[str]:
    """Names to be joined by commas, the last two by “and”."""
    yield from names[:-2]
    yield " and ".join(names[-2:])


def _apart(placed: Sequence[Placement]) -> Line | None:
    count = sum(1 for item in placed if item.apart)
    if not count:
        return None
    are = "value is" if count == 1 else "values are"
    return Line(f"{count} {are} kept apart as not comparable.", "apart")
