"""Which quantities of two charges of one device may be compared, and why others may not."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from comparisons.queries.charge_differences import OF_WHOLE_CHARGES, QUANTITIES
from comparisons.queries.charge_starts import Start, start_of
from measurements.kinds.instruments import listed
from measurements.models import Run

Axis = Literal["time", "level"]

# Levels nearer than this are the same for a reader. [%]
SAME_LEVEL = 1.0


@dataclass(frozen=True, slots=True)
class Named:
    """A run, as sentences call it."""

    run: Run
    name: str

    @property
    def facts(self) -> Mapping[str, Any]:
        """What its kind keeps of it."""
        facts: Mapping[str, Any] = self.run.details["facts"]
        return facts

    @property
    def start(self) -> Start | None:
        """How it began; None if that is not known."""
        return start_of(self.facts)

    def level(self, name: Literal["start_level", "end_level"]) -> float | None:
        """The level [%] that the device told at the start or at the end."""
        level = self.facts.get(name)
        return None if level is None else float(level)

    @property
    def paused(self) -> bool:
        """Whether the log paused before the device was full."""
        full = self.facts["milestones"].get("100")
        return any(full is None or start < full for start, _ in self.facts["gaps"])


@dataclass(frozen=True, slots=True)
class Pair:
    """A charge beside the reference."""

    one: Named
    reference: Named

    @property
    def quantities(self) -> tuple[str, ...]:
        """The metrics that may be compared."""
        if self.why_no_times:
            return ()
        whole = not self.why_no_energy
        return tuple(key for key in QUANTITIES if whole or key not in OF_WHOLE_CHARGES)

    @property
    def starts(self) -> tuple[Start, Start] | None:
        """Both starts, if both are known."""
        one, other = self.one.start, self.reference.start
        return None if one is None or other is None else (one, other)

    @property
    def why_no_times(self) -> str:
        """Why no value is compared, as a clause; empty if some are."""
        if unknown := self._those(lambda item: item.level("start_level") is None):
            return f"the battery level of {unknown} was not recorded at the start"
        if not self._alike("start_level"):
            return f"they started at {self._levels('start_level')}"
        if older := self._those(lambda item: "pace" not in item.facts):
            return (
                f"the run of {older} was computed before the pace of a start was kept "
                "(compute it again)"
            )
        return ""

    @property
    def why_no_energy(self) -> str:
        """Why energy and mean power are not compared although times are; empty if they are."""
        reasons = []
        if paused := self._those(lambda item: item.paused):
            reasons.append(f"the log of {paused} paused during the charge")
        if not self._alike("end_level"):
            reasons.append(f"they ended at {self._levels('end_level')}")
        if short := self._those(lambda item: item.start is None):
            reasons.append(f"the log of {short} does not tell how fast the charge began")
        return " and ".join(reasons)

    def why_no_curves(self, by: Axis) -> str:
        """Why no distance between the curves is given, as a clause; empty if one can be."""
        if older := self._those(lambda item: "curves" not in item.facts):
            return f"the run of {older} was computed before curves were kept (compute it again)"
        if by == "time":
            return "" if self._alike("start_level") else self.why_no_times
        if without := self._those(lambda item: item.facts.get("level_from") is None):
            return f"the log of {without} has no battery level"
        if inferred := self._those(lambda item: item.facts["level_from"] != "battery"):
            return f"the battery level of {inferred} is inferred"
        return ""

    @property
    def note(self) -> str:
        """A sentence on starts that differ and are compared all the same; empty otherwise."""
        if self.why_no_times or self.one.level("start_level") == self.reference.level(
            "start_level"
        ):
            return ""
        return (
            f"{_capital(self.one.name)} and {self.reference.name} started at "
            f"{self._levels('start_level')}; this is part of U."
        )

    def _alike(self, name: Literal["start_level", "end_level"]) -> bool:
        level, other = self.one.level(name), self.reference.level(name)
        return level is not None and other is not None and abs(level - other) <= SAME_LEVEL

    def _levels(self, name: Literal["start_level", "end_level"]) -> str:
        return f"{self.one.level(name):g} % and {self.reference.level(name):g} %"

    def _those(self, holds: Callable[[Named], bool]) -> str:
        """The names of those for which it holds; empty for none."""
        return listed(item.name for item in (self.one, self.reference) if holds(item))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
