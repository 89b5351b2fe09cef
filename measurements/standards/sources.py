"""The bibliography: every source that a formula, a limit or a rule of this project names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """A published work, or what stands in for one.

    `note` says how much of it was read and what was not.
    """

    key: str
    title: str
    edition: str
    note: str


_ALL = (
    Source(
        "iec-62301",
        "IEC 62301, Household electrical appliances: measurement of standby power",
        "edition 2, 2011",
        "Ambient and supply conditions read in summaries of the edition. The numbers of the "
        "sampling method (15 min, 1 s, first third, 10 mW/h, 1 %/h, 2 %, 0.02 W) are from memory "
        "and not verified against the published text. A 2026 edition exists and was not seen.",
    ),
    Source(
        "us-doe-level-vi",
        "United States Code of Federal Regulations, 10 CFR 430.32(w): external power supplies",
        "in force since 2016-02-10 (Level VI)",
        "Basic and low-voltage rows read in a reproduction of the table; the multiple-voltage row "
        "is from memory and equals the row of (EU) 2019/1782.",
    ),
    Source(
        "us-doe-appendix-z",
        "United States Code of Federal Regulations, 10 CFR 430 Subpart B Appendix Z",
        "87 FR 51221, 2022-08-19",
        "Read: mains, room, warm-up, loading, stability, adaptive and multiple-voltage supplies.",
    ),
    Source(
        "eu-2019-1782",
        "Commission Regulation (EU) 2019/1782: ecodesign of external power supplies",
        "2019, applied since 2020-04-01",
        "Annex II read in the retained United Kingdom copy. The no-load limit of adaptive supplies "
        "read in the Commission's published answers to questions.",
    ),
    Source(
        "eu-coc-v5",
        "European Code of Conduct on energy efficiency of external power supplies",
        "version 5, 2013; Tier 1 from 2014, Tier 2 from 2016",
        "Tier 1 and part of Tier 2 read in reproductions. From memory: all Tier 2 low-voltage "
        "rows, Tier 2 above 49 W, and the linear coefficient at 10 % load.",
    ),
    Source(
        "iec-62368-1",
        "IEC 62368-1, Audio/video, information and communication technology equipment: safety",
        "edition 3, 2018, Table 38",
        "The plastic limits 48, 77 and 94 °C and the rule of 25 °C ambient were read in a public "
        "discussion of the table; the other values are from memory.",
    ),
    Source(
        "jcgm-100",
        "JCGM 100, Evaluation of measurement data: guide to the expression of uncertainty",
        "2008",
        "Example H.2 and the ten resistors of 5.2.2 read in reproductions.",
    ),
    Source(
        "ilac-g8",
        "ILAC-G8, Guidelines on decision rules and statements of conformity",
        "09/2019",
        "Pages 9 and 10 read.",
    ),
    Source(
        "nist-strd",
        "NIST Statistical Reference Datasets",
        "Norris (linear regression), Misra1a (nonlinear regression)",
        "Data and certified values read.",
    ),
    Source(
        "common-practice",
        "Common practice of the trade",
        "no published source",
        "How people who measure power adapters usually do it; nothing to be checked against.",
    ),
    Source(
        "catalogue",
        "The catalogue entry of the adapter",
        "as entered",
        "Rated power, body dimensions and mass as the entry states them, not measured by a run.",
    ),
)

SOURCES: Mapping[str, Source] = {source.key: source for source in _ALL}
