"""Slips of a factor of thousand that no bound of a single cell can see.

Each bound here is the project's own, far from what any adapter does and far from what a slip gives.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import FloatArray, Problem
from measurements.kinds.base import Flag

# The least that comes out of an adapter at its best point, of what goes in.
LEAST_SHARE = 0.05
# The least that ports give together while their sharing is tried, of the rated power.
LEAST_OF_RATING = 0.02
# USB Power Delivery's programmable supplies begin at 3.3 V (USB PD R3.2, 6.4.1.2.4; from memory).
LEAST_OUTPUT_V = 2.5
LONGEST_RECORD_DAYS = 3.0

_DAY_S = 86_400.0


def hardly_anything_comes_out(output_w: FloatArray, *, input_w: FloatArray) -> Iterator[Flag]:
    """A warning when no row gives `LEAST_SHARE` of the input power; both in W."""
    if not output_w.size:
        return
    share = float(np.max(output_w / input_w))
    if share < LEAST_SHARE:
        yield Flag(
            "little-output",
            "warning",
            f"At no operating point do 5 % of the input power come out ({100 * share:.2g} % at "
            "best), which no adapter is as bad as. Check the units, such as A headed as mA.",
        )


def little_of_the_rating(highest_w: float, *, rated_w: float) -> Iterator[Flag]:
    """A warning when the ports never gave `LEAST_OF_RATING` of the rated power; both in W."""
    if highest_w < LEAST_OF_RATING * rated_w:
        yield Flag(
            "little-power",
            "warning",
            f"The ports never gave more than {highest_w:.3g} W together, of a rated {rated_w:g} W. "
            "Check the units, such as A headed as mA, and that the ports were loaded.",
        )


def no_output_voltage(voltage_v: FloatArray) -> Iterator[Problem]:
    """A problem when no reading is a voltage that USB has [V]."""
    highest = float(np.max(voltage_v))
    if highest < LEAST_OUTPUT_V:
        yield Problem(
            f"No reading is above {highest:.3g} V, but no USB output gives less than 3.3 V; check "
            "the unit, such as V headed as mV.",
            column="voltage_v",
        )


def long_record(duration_s: float | None) -> Iterator[Flag]:
    """A warning when a record lasts for days [s], which is more often a wrong unit of time."""
    if duration_s is not None and duration_s > LONGEST_RECORD_DAYS * _DAY_S:
        yield Flag(
            "long-record",
            "warning",
            f"The record lasts {duration_s / _DAY_S:.3g} days. If it did not, the unit of the time "
            "column is wrong.",
        )
