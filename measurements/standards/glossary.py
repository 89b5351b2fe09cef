"""The words of these pages: terms of the trade with their standard, and this site's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from catalog.power_delivery.sources import SOURCES as POWER_DELIVERY_SOURCES
from catalog.power_delivery.sources import Source as PowerDeliverySource
from measurements.standards.sources import SOURCES, Source


@dataclass(frozen=True, slots=True)
class Term:
    """A word and what it means here.

    `source` is a key of the bibliography, ``common-practice`` among them, and "" for a word of
    this site's own; `kind` is the method whose page says more, "" where none does. What is said
    `from_memory` was not, or not all of it, seen in that work.
    """

    key: str
    word: str
    meaning: str
    source: str = ""
    kind: str = ""
    from_memory: bool = False

    @property
    def work(self) -> Source | PowerDeliverySource | None:
        """The work that the meaning follows."""
        return SOURCES.get(self.source) or POWER_DELIVERY_SOURCES.get(self.source)


_TRADE = (
    Term(
        "active-power",
        "Active power",
        "The power that is really drawn, averaged over whole cycles of the mains, in watts. The "
        "product of voltage and current alone (in volt-amperes) can be many times larger for an "
        "adapter without a load.",
        source="common-practice",
    ),
    Term(
        "ambient",
        "Ambient",
        "The temperature of the air about the adapter, far enough away not to be warmed by it.",
        source="common-practice",
        kind="thermal",
    ),
    Term(
        "average-efficiency",
        "Average efficiency",
        "The mean of the efficiencies at 25, 50, 75 and 100 % of the full-load current; a large "
        "and a small load count alike.",
        source="us-doe-appendix-z",
        kind="efficiency",
    ),
    Term(
        "avs",
        "AVS, adjustable voltage supply",
        "A power data object that offers a range of voltages in steps of 100 mV, up to a stated "
        "power or current. It follows a request, and does not limit its current as a PPS does.",
        source="linux-usb-pd-adjustable",
        kind="port-scan",
        from_memory=True,
    ),
    Term(
        "code-of-conduct",
        "Code of Conduct, Tier 1 and Tier 2",
        "Voluntary European limits on standby power and average efficiency of external power "
        "supplies, and on efficiency at 10 % load; Tier 2 asks at least as much as Tier 1.",
        source="eu-coc-v5",
        kind="efficiency",
    ),
    Term(
        "crest-factor",
        "Crest factor",
        "The peak of a waveform over its root mean square.",
        source="common-practice",
        kind="ripple",
    ),
    Term(
        "data-object",
        "Power data object, PDO",
        "32 bits with which a USB Power Delivery source advertises one of its supplies: a kind, "
        "voltages, and a current or a power.",
        source="linux-usb-pd-header",
        kind="port-scan",
    ),
    Term(
        "epr",
        "EPR, extended power range",
        "USB Power Delivery above 100 W, with fixed supplies of 28, 36 and 48 V and an adjustable "
        "one. SPR, the standard power range, ends at 20 V and 5 A.",
        source="usb-pd-source-rules",
        kind="port-scan",
    ),
    Term(
        "expanded-uncertainty",
        "Expanded uncertainty, U",
        "The standard uncertainty times a coverage factor k. With k = 2 about 95 % of values that "
        "could be meant lie within ± U, where their spread is close to normal.",
        source="jcgm-100",
        from_memory=True,
    ),
    Term(
        "fixed-supply",
        "Fixed supply",
        "A power data object of one voltage and a highest current.",
        source="linux-usb-pd-header",
        kind="port-scan",
    ),
    Term(
        "guard-band",
        "Guard band",
        "A distance that is kept from a limit before pass or fail is said. Here it is U (k = 2); "
        "within it a verdict is undecided.",
        source="ilac-g8",
    ),
    Term(
        "level-vi",
        "Level VI",
        "The row of limits of the United States on standby power and average efficiency of "
        "external power supplies, named after its mark on the label.",
        source="us-doe-level-vi",
        kind="efficiency",
        from_memory=True,
    ),
    Term(
        "load-regulation",
        "Load regulation",
        "How far the output voltage falls from the lowest to the highest load, as a share of the "
        "nominal voltage.",
        source="common-practice",
        kind="efficiency",
    ),
    Term(
        "pps",
        "PPS, programmable power supply",
        "A power data object that offers a range of voltages in steps of 20 mV and limits its "
        "current to what is asked for, so that a device can steer its own charging.",
        source="linux-usb-pd-header",
        kind="port-scan",
        from_memory=True,
    ),
    Term(
        "rectangular",
        "Rectangular distribution",
        "What is assumed of an error of which only a bound is known: every value within the bound "
        "is as likely. Its standard uncertainty is the bound over √3.",
        source="jcgm-100",
        from_memory=True,
    ),
    Term(
        "ripple",
        "Ripple and noise",
        "What is left of alternating voltage on the direct voltage of an output, here measured "
        "from peak to peak within 20 MHz.",
        source="common-practice",
        kind="ripple",
    ),
    Term(
        "standard-uncertainty",
        "Standard uncertainty, u",
        "The uncertainty of a result as a standard deviation; half of the U (k = 2) that stands "
        "after ±.",
        source="jcgm-100",
        from_memory=True,
    ),
    Term(
        "standby",
        "Standby power, no-load power",
        "The active power that an adapter draws from the mains with nothing connected to it.",
        source="iec-62301",
        kind="no-load",
        from_memory=True,
    ),
    Term(
        "thermal-headroom",
        "Thermal headroom",
        "What is left from the hottest reading of a surface to the limit for touching that "
        "material, in kelvin.",
        source="iec-62368-1",
        kind="thermal",
    ),
    Term(
        "time-constant",
        "Thermal time constant",
        "The time in which a warming surface makes 63 % of the way to where it settles.",
        source="common-practice",
        kind="thermal",
    ),
)

_OURS = (
    Term(
        "accepted",
        "Accepted, provisional, superseded, withdrawn",
        "The standings of a run. A computed run is provisional until an editor accepts it; then "
        "its values stand, until a later run supersedes it or somebody withdraws it with a reason.",
    ),
    Term(
        "adapter",
        "Adapter, unit",
        "An adapter is a model; a unit is one physical sample of it. What is measured on one unit "
        "says nothing certain about another.",
    ),
    Term(
        "apart",
        "Apart",
        "A value that was measured and kept, and is not compared with others; the reason stands "
        "with it.",
    ),
    Term(
        "band",
        "Efficiency band, published tier",
        "The highest published tier that an adapter passes on both standby power and average "
        "efficiency. Borderline names a tier above it that is undecided.",
    ),
    Term(
        "cohort",
        "Cohort",
        "The adapters with which a value may fairly be compared: one metric under one condition, "
        "each adapter once, with its newest accepted value.",
    ),
    Term(
        "combination",
        "Combination",
        "Ports in use together, such as C1+A1, in the order of plugging in.",
        kind="sharing",
    ),
    Term(
        "condition",
        "Condition",
        "What a value depends on and is compared under: mains, output voltage, load, device, "
        "sensor or port.",
    ),
    Term(
        "line",
        "230 V mains, 115 V mains",
        "Mains of 180 to 264 V and of 90 to 132 V. Results of the two are never compared with each "
        "other.",
    ),
    Term(
        "match-rate",
        "Match rate",
        "The share of reference devices that drew at least nine tenths of the most that any "
        "adapter here gave them.",
        kind="device-match",
    ),
    Term(
        "method-version",
        "Method version",
        "A number that rises when the same file would give another result. It stands with every "
        "value, and the list of changes names what changed.",
    ),
    Term(
        "milestone",
        "Milestone",
        "A level of the battery that a charge reaches: 20, 50, 80 or 100 %.",
        kind="charge",
    ),
    Term(
        "near-tie",
        "Near tie",
        "Two values whose difference is not larger than k = 2 of their combined uncertainty: their "
        "order may be the other way round.",
    ),
    Term(
        "placement",
        "Place, rank, better than",
        "Where a value stands in its cohort. The rank counts 1, 2, 2, 4; “better than” is the "
        "share of the cohort that it beats, itself included and ties counted half.",
    ),
    Term(
        "profile",
        "Profile",
        "What a port advertises as one power data object. “28 V” means that an object reaches that "
        "voltage: a fixed supply of it, or a range with it inside.",
        kind="port-scan",
    ),
    Term(
        "raw-file",
        "Raw file",
        "The bytes as they came from the bench, kept for ever under their hash (SHA-256). Every "
        "measured number leads back to one.",
    ),
    Term(
        "run",
        "Run, kind",
        "One measurement of one unit by one method, from one raw file. The kind is the method.",
    ),
    Term(
        "table",
        "Result from a table",
        "A result that was computed elsewhere and came without a raw record. It takes no place "
        "from a measured one, and counts only where that is asked for.",
    ),
    Term(
        "verdict",
        "Verdict: pass, fail, undecided",
        "A value of one unit against one published number, with a guard band. An indication from "
        "one bench, never a certification.",
    ),
)


GLOSSARY: Mapping[str, tuple[Term, ...]] = MappingProxyType(
    {
        title: tuple(sorted(terms, key=lambda term: term.word.casefold()))
        for title, terms in (("Terms of the trade", _TRADE), ("Words of this site", _OURS))
    }
)
"""The terms of each part, by word."""
