"""Every rule of the audit: its stable id, how grave breaking it is, and where it comes from.

``error`` breaks a rule whose source was read, in the original or in a reproduction; ``warning``
is doubtful, or breaks a rule that is only remembered; ``note`` is worth knowing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from catalog.power_delivery.sources import SOURCES, Standing

Severity = Literal["error", "warning", "note"]
_RANK: Mapping[Severity, int] = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule; `source` is a key of `sources.SOURCES`."""

    key: str
    title: str
    severity: Severity
    source: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class Finding:
    """One place where a list of objects meets a rule; an indication, never a certification.

    `positions` are the objects concerned, empty when the list as a whole is. `detail` is a
    sentence that names positions and values.
    """

    rule: str
    severity: Severity
    detail: str
    source: str
    standing: Standing
    positions: tuple[int, ...] = ()

    @property
    def gravity(self) -> int:
        """0 for an error, 1 for a warning, 2 for a note: for sorting."""
        return _RANK[self.severity]

    def as_json(self) -> dict[str, object]:
        """The finding of the public contract, with standing and positions."""
        source = SOURCES[self.source]
        return {
            "rule": self.rule,
            "severity": self.severity,
            "detail": self.detail,
            "source": f"{source.title} ({source.edition})",
            "standing": self.standing,
            "positions": list(self.positions),
        }


_ALL = (
    Rule("no-profile", "A source offers something", "error", "linux-tcpm", "seen"),
    Rule("first-object-five-volts", "First object is fixed 5 V", "error", "linux-tcpm", "seen"),
    Rule(
        "order-of-kinds",
        "Fixed, battery, variable, adjustable, programmable",
        "error",
        "usb-pd-message-order",
        "secondary",
    ),
    Rule("order-fixed-ascending", "Fixed by ascending voltage", "error", "linux-tcpm", "seen"),
    Rule("order-battery-ascending", "Battery by ascending minimum", "error", "linux-tcpm", "seen"),
    Rule(
        "order-variable-ascending", "Variable by ascending minimum", "error", "linux-tcpm", "seen"
    ),
    Rule("order-pps-ascending", "Programmable by ascending maximum", "error", "linux-tcpm", "seen"),
    Rule("duplicate-object", "No object is sent twice", "error", "linux-tcpm", "seen"),
    Rule("spr-object-count", "At most 7 SPR objects", "error", "linux-usb-pd-header", "seen"),
    Rule("epr-object-count", "At most 11 objects in EPR", "warning", "usb-pd", "from memory"),
    Rule("epr-placement", "EPR objects from position 8", "warning", "usb-pd", "from memory"),
    Rule("spr-placement", "SPR objects in positions 1 to 7", "warning", "usb-pd", "from memory"),
    Rule(
        "padding-placement",
        "Zero words only close positions 1 to 7",
        "warning",
        "usb-pd",
        "from memory",
    ),
    Rule(
        "source-flags-outside-first",
        "Source flags only in the first object",
        "warning",
        "fuchsia-usb-pd-objects",
        "seen",
    ),
    Rule(
        "reserved-bits-set",
        "Reserved bits are zero",
        "warning",
        "linux-usb-pd-header",
        "secondary",
    ),
    Rule("reserved-type", "A type without meaning yet", "note", "linux-usb-pd-adjustable", "seen"),
    Rule(
        "nothing-offered",
        "Voltage, current and power above 0",
        "warning",
        "common-practice",
        "common practice",
    ),
    Rule(
        "range-reversed",
        "The minimum is not above the maximum",
        "error",
        "common-practice",
        "common practice",
    ),
    Rule(
        "current-above-cable",
        "No cable carries more than 5 A",
        "warning",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule(
        "voltage-above-range", "Nothing above 48 V", "warning", "usb-pd-source-rules", "secondary"
    ),
    Rule(
        "voltage-unusual",
        "A fixed voltage that no row names",
        "note",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule("twelve-volts-optional", "12 V is optional", "note", "usb-pd", "from memory"),
    Rule(
        "cable-for-five-amperes",
        "Above 3 A a cable marked for 5 A",
        "note",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule("cable-for-epr", "EPR needs an EPR cable", "note", "usb-pd", "from memory"),
    Rule("pps-range-unnamed", "Programmable ranges have a name", "note", "usb-pd", "from memory"),
    Rule("avs-range-unnamed", "EPR adjustable ranges", "note", "usb-pd", "from memory"),
    Rule("avs-spr-missing", "SPR adjustable above 27 W", "note", "usb-pd", "from memory"),
    Rule("avs-epr-missing", "EPR adjustable beside EPR fixed", "warning", "usb-pd", "from memory"),
    Rule("epr-flag-missing", "First object announces EPR", "warning", "usb-pd", "from memory"),
    Rule("epr-not-scanned", "EPR objects were not read", "note", "usb-pd", "from memory"),
    Rule(
        "required-voltage-missing",
        "Voltages that the rated power calls for",
        "error",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule(
        "required-current-low",
        "Currents that the rated power calls for",
        "error",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule(
        "cable-limited-scan",
        "A scan through a 3 A cable",
        "note",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule("rating-outside-rules", "Rated 0.5 to 240 W", "note", "usb-pd-source-rules", "secondary"),
    Rule(
        "rated-power-not-offered",
        "A fixed supply reaches the rated power",
        "warning",
        "usb-pd-source-rules",
        "secondary",
    ),
    Rule(
        "rated-power-exceeded",
        "No supply exceeds the rated power",
        "warning",
        "common-practice",
        "common practice",
    ),
    Rule(
        "claim-not-offered",
        "What the label claims is offered",
        "warning",
        "common-practice",
        "common practice",
    ),
    Rule(
        "claim-only-adjustable",
        "A claimed voltage is a fixed supply",
        "note",
        "common-practice",
        "common practice",
    ),
    Rule(
        "claim-exceeded",
        "More is offered than the label claims",
        "note",
        "common-practice",
        "common practice",
    ),
    Rule(
        "profile-not-claimed",
        "What is offered is on the label",
        "note",
        "common-practice",
        "common practice",
    ),
)

RULES: Mapping[str, Rule] = {rule.key: rule for rule in _ALL}


def found(
    rule: str,
    *,
    detail: str,
    positions: Iterable[int] = (),
    standing: Standing | None = None,
    severity: Severity | None = None,
) -> Finding:
    """A finding of a rule, whose standing and severity may be those of one row of its table.

    Parameters
    ----------
    rule : str
        Key of `RULES`. [-]
    detail : str
        The sentence. [-]
    positions : iterable of int
        The objects concerned. [-]
    standing : str, optional
        Standing of the row that was applied. [-]
    severity : str, optional
        Severity in this case. A rule from memory is a warning at most. [-]

    Returns
    -------
    finding : Finding
        The finding. [-]
    """
    declared = RULES[rule]
    kept = standing or declared.standing
    grave = severity or declared.severity
    if kept == "from memory" and grave == "error":
        grave = "warning"
    return Finding(rule, grave, detail, declared.source, kept, tuple(positions))
