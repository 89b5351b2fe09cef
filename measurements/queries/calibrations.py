"""Whether the instruments of a run were within their calibration."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from measurements.kinds.base import Flag
from measurements.models import Instrument


def calibration_flags(instruments: Iterable[Instrument], *, on: date) -> Iterator[Flag]:
    """A warning for every instrument whose calibration had fallen due on that day.

    Its stated accuracy holds until then (ISO/IEC 17025:2017, 6.4.8; from memory).
    """
    for item in sorted(instruments, key=lambda instrument: instrument.name):
        if item.calibration_due is not None and item.calibration_due < on:
            yield Flag(
                code="calibration-overdue",
                severity="warning",
                detail=f"The calibration of {item.name} was due on {item.calibration_due}, before "
                "this measurement: its stated accuracy may hold no longer.",
            )
