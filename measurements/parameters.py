"""Query parameters that name the condition of a value."""

from __future__ import annotations

from catalog.rest.parameters import number, one_of, text
from measurements.metrics.efficiency import NAMED_LOADS
from measurements.metrics.equal_power import EQUAL_POWERS_W

LOADS = (
    "none",
    "full",
    *(f"{load:g} %" for load in NAMED_LOADS),
    *(f"{power:g} W" for power in EQUAL_POWERS_W),
)
"""Loads that a condition may name: none, full, a share of full load, or an output power."""

OUTPUT_V = number(above=0, maximum=1000)
IN_OR_OUT = one_of("in", "out").saying(
    "Whether results count that came by a table, where nothing measured stands."
)
CONDITION_PARAMETERS = {
    "line": one_of("high", "low").saying("Mains: high 180–264 V, low 90–132 V."),
    "output_v": OUTPUT_V.saying("Output voltage, V."),
    "load": one_of(*LOADS).saying("Load of the output."),
    "device": text.saying("A reference device's slug."),
    "sensor": text.saying("A temperature sensor."),
    "port": text.saying("A port's label."),
}
"""The parts of a condition, each as a filter."""
