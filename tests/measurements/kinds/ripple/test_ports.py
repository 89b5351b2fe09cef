"""Readings and waveforms of a port that is not the strongest."""

from __future__ import annotations

from dataclasses import replace

import pytest

from measurements.intake.columns import Table
from measurements.kinds.base import PortFacts, Setup
from tests.measurements.kinds.ripple.records import (
    POINT,
    flags_of,
    measured,
    readings,
    setup,
    sine,
    waveform,
)

C1 = PortFacts("C1", "usb-c", 100.0)
C2 = PortFacts("C2", "usb-c", 100.0)
A1 = PortFacts("A1", "usb-a", 18.0)

READINGS = readings((5, 0, 20), (5, 3, 30), (20, 0, 20), (20, 5, 60))
WAVEFORM = waveform(sine(100_000, rate=1e6, seconds=0.05, amplitude=0.02), rate=1e6)


def on(port: PortFacts | None, *, given: Setup) -> Setup:
    """The same run on a port of an adapter with three of them."""
    return replace(given, port=port, adapter=replace(given.adapter, ports=(C1, C2, A1)))


@pytest.mark.parametrize(
    ("table", "given"),
    [(READINGS, setup()), (WAVEFORM, setup(fields=POINT))],
    ids=["readings", "waveform"],
)
def test_only_values_of_a_weaker_port_are_set_apart(table: Table, given: Setup) -> None:
    weak = measured(table, on(A1, given=given))
    sentence = "Measured on A1; adapters are compared by their strongest ports, C1 and C2."
    assert all(item.apart.endswith(sentence) for item in weak.values)
    assert sentence in flags_of(weak)["weaker-port"]
    for port in (C1, C2, None):
        outcome = measured(table, on(port, given=given))
        assert "weaker-port" not in flags_of(outcome)
        assert [item.value for item in outcome.values] == [item.value for item in weak.values]
        assert not any("Measured on" in item.apart for item in outcome.values)
