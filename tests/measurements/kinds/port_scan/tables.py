"""Scans of invented adapters, for the tests of this kind."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measurements.intake.columns import Table
from measurements.kinds.base import (
    AdapterFacts,
    AdvertisedOutput,
    Measured,
    Outcome,
    PortFacts,
    Setup,
)
from measurements.kinds.port_scan.kind import KIND

Row = tuple[str, float | None, str, str]

# A port of 65 W that breaks no rule: 5, 9 and 15 V at 3 A, 20 V at 3.25 A, adjustable to 20 V.
WORDS_65_W = ("0x0801912C", "0x0002D12C", "0x0004B12C", "0x00064145", "0xE004B145")
# A port of 140 W: the fixed supplies to 20 V at 5 A, adjustable, then 28 V and its adjustable.
WORDS_140_W: tuple[tuple[int, str], ...] = (
    (1, "0x0881912C"),
    (2, "0x0002D12C"),
    (3, "0x0004B12C"),
    (4, "0x000641F4"),
    (5, "0xE004B1F4"),
    (8, "0x0008C1F4"),
    (9, "0xD230968C"),
)


def rows_of(
    port: str, words: Sequence[str], *, numbered: bool = True, protocol: str = ""
) -> list[Row]:
    return [
        (port, float(place) if numbered else None, word, protocol)
        for place, word in enumerate(words, start=1)
    ]


def table(rows: Sequence[Row]) -> Table:
    return Table(
        columns={
            "position": np.array(
                [np.nan if row[1] is None else row[1] for row in rows], dtype=np.float64
            )
        },
        rows=np.arange(2, len(rows) + 2, dtype=np.int64),
        texts={
            "port": tuple(row[0] for row in rows),
            "word": tuple(row[2] for row in rows),
            "protocol": tuple(row[3] for row in rows),
        },
    )


def adapter(
    *labels: str,
    rated_power_w: float = 65.0,
    port_power_w: float | None = None,
    claims: Sequence[AdvertisedOutput] = (),
) -> AdapterFacts:
    return AdapterFacts(
        rated_power_w=rated_power_w,
        ports=tuple(
            PortFacts(label, "usb-a" if label.startswith("A") else "usb-c", port_power_w)
            for label in labels
        ),
        advertised=tuple(claims),
    )


def measured(rows: Sequence[Row], facts: AdapterFacts) -> Outcome:
    setup = Setup(adapter=facts)
    assert KIND.check(table(rows), setup) == ()
    return KIND.measure(table(rows), setup)


def value(outcome: Outcome, metric: str, port: str) -> Measured:
    (found,) = (
        item for item in outcome.values if item.metric == metric and item.condition.port == port
    )
    return found
