"""The sections that follow metric by metric: standby, efficiency, heat, ripple, charge."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from comparisons.facts.order import SECTION_OF_KIND
from comparisons.facts.sheets import Fact
from comparisons.facts.values import placed_fact, run_source, value_of
from comparisons.facts.words import quantity, uncapitalised, where
from comparisons.queries.fact_material import ONSET, FactMaterial
from comparisons.queries.placements import Placement
from measurements.kinds import all_kinds, all_metrics
from measurements.kinds.base import Condition
from measurements.queries import condition_in_words

Choice = Callable[[Sequence[Placement]], Sequence[Placement]]


def every(found: Sequence[Placement]) -> Sequence[Placement]:
    """All conditions of a metric."""
    return found


def by_line(found: Sequence[Placement]) -> Sequence[Placement]:
    """Those that hold for a mains line as a whole."""
    return [item for item in found if set(item.condition.as_json()) <= {"line"}]


def by_sensor(found: Sequence[Placement]) -> Sequence[Placement]:
    """Those of single sensors."""
    return [item for item in found if item.condition.sensor]


def at_highest_voltage(found: Sequence[Placement]) -> Sequence[Placement]:
    """Of each mains line those at the highest output voltage."""
    highest: dict[str, float] = {}
    for item in found:
        volts = item.condition.output_v or 0.0
        highest[item.condition.line] = max(volts, highest.get(item.condition.line, volts))
    return [
        item for item in found if (item.condition.output_v or 0.0) == highest[item.condition.line]
    ]


@dataclass(frozen=True, slots=True)
class Line:
    """A template of a metric and the conditions that it is written for.

    `{value}` is the number with U and unit, `{where}` the mains line and output voltage,
    `{device}` and `{sensor}` what the condition names. `missing` is said where the section has
    other values and this one is not among them.
    """

    metric: str
    text: str
    chosen: Choice = every
    missing: str = ""


LINES: dict[str, tuple[Line, ...]] = {
    "standby": (
        Line("no-load-power", "With nothing connected it draws {value} {where}."),
        Line("no-load-energy", "Left plugged in with nothing connected it takes {value} {where}."),
    ),
    "efficiency": (
        Line("average-efficiency", "Its average efficiency is {value} {where}."),
        Line(
            "efficiency-at-10",
            "At a tenth of its load its efficiency is {value} {where}.",
            at_highest_voltage,
        ),
        Line(
            "full-load-loss", "At full load it turns {value} into heat {where}.", at_highest_voltage
        ),
    ),
    "heat": (
        Line("surface-temperature", "Its hottest sensor reached {value} {where}.", by_line),
        Line("temperature-rise", "It grew {value} warmer than its surroundings {where}."),
        Line("thermal-headroom", "Its headroom to the touch limit is {value} {where}."),
        Line("surface-temperature", "Its sensor “{sensor}” reached {value} {where}.", by_sensor),
        Line(
            "sustained-power",
            "In the last minutes of a soak at full load it gave {value} {where}.",
        ),
    ),
    "ripple": (
        Line(
            "ripple-no-load",
            "Without load its ripple is at most {value}, peak to peak, {where}.",
            by_line,
            missing="Without load its ripple was not measured.",
        ),
        Line(
            "ripple-loaded",
            "With load its ripple is at most {value}, peak to peak, {where}.",
            by_line,
            missing="With load its ripple was not measured.",
        ),
    ),
    "charge": (
        Line("charge-to-50", "It charges the {device} to 50\u00a0% in {value}."),
        Line("charge-to-80", "It charges the {device} to 80\u00a0% in {value}."),
        Line("charge-to-full", "It charges the {device} to full in {value}."),
        Line("charge-mean-power", "Its mean power into the {device} is {value}."),
        Line(
            "wall-to-device-efficiency",
            "Of the energy from the wall, {value} reaches the {device} {where}.",
        ),
    ),
}

# Those that are measured at a mains line, so that a missing line is worth a word.
_AT_MAINS = ("standby", "efficiency", "heat", "ripple")


def measured_facts(key: str, material: FactMaterial) -> Iterator[Fact]:
    """The facts of one of the sections of `LINES`; none where nothing stands."""
    seen: set[str] = set()
    for line in LINES[key]:
        for placed in line.chosen(material.of(line.metric)):
            seen.add(placed.condition.line)
            yield placed_fact(material, placed, _sentence(line.text, placed, material))
    if seen:
        yield from (
            Fact(line.missing)
            for line in LINES[key]
            if line.missing and not line.chosen(material.of(line.metric))
        )
    if key == "heat":
        yield from _onsets(material)
    if key in _AT_MAINS and seen:
        yield from _gaps(seen)


def further_facts(material: FactMaterial) -> Iterator[Fact]:
    """Every placed value of a kind for which no section was written."""
    for kind in all_kinds():
        if kind.slug not in SECTION_OF_KIND:
            for metric in kind.metrics:
                text = f"Its {uncapitalised(metric.title)} is {{value}} {{where}}."
                for placed in material.of(metric.key):
                    yield placed_fact(material, placed, _sentence(text, placed, material))


def _sentence(template: str, placed: Placement, material: FactMaterial) -> str:
    condition = placed.condition
    device = material.devices.get(condition.device, condition.device)
    sensor = condition_in_words(Condition(sensor=condition.sensor))
    said = template.format(
        value=value_of(placed), where=where(condition), device=device, sensor=sensor
    )
    return said.replace(", .", ".").replace(" .", ".")


def _onsets(material: FactMaterial) -> Iterator[Fact]:
    metric = all_metrics()[ONSET]
    for value in material.onsets:
        after = quantity(
            value.value,
            2 * value.standard_uncertainty,
            unit=metric.unit,
            decimals=metric.decimals,
        )
        yield Fact(
            f"Its output power fell during the soak, after {after} {where(value.condition)}.",
            sources=(
                ()
                if value.run_id is None
                else (run_source(material.runs.get(value.run_id), value.run_id),)
            ),
        )


def _gaps(seen: set[str]) -> Iterator[Fact]:
    for line in ("high", "low"):
        if line not in seen:
            yield Fact(f"Not measured {where(Condition(line=line))}.")
