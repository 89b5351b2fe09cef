"""Time of a sampled record that states its sample rate instead of a time for every sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measurements.intake import units
from measurements.intake.columns import FloatArray
from measurements.intake.decoding import Refused, printable
from measurements.intake.headings import Heading, parse_heading
from measurements.intake.npz_members import Member

TIME = "time_s"
_RATES = {"sample rate", "sampling rate", "samplerate", "sampling frequency", "fs"}
_INTERVALS = {"sample interval", "sampling interval", "sample time", "dt"}


@dataclass(frozen=True, slots=True)
class Sampling:
    """How far samples lie apart: `value` is a rate [Hz] or, unless `is_rate`, an interval [s]."""

    value: float
    is_rate: bool
    note: str

    def time_s(self, samples: int) -> FloatArray:
        """The time [s] of every sample, the first at 0."""
        numbers = np.arange(samples, dtype=np.float64)
        with np.errstate(all="ignore"):
            return numbers / self.value if self.is_rate else numbers * self.value


def stated_sampling(members: Sequence[Member]) -> list[tuple[int, Heading]]:
    """Which single values state a sample rate or interval, by their index."""
    return [
        (at, heading)
        for at, member in enumerate(members)
        if member.values == 1 and _states(heading := parse_heading(member.name))
    ]


def sampling_of(found: Sequence[tuple[int, Heading]], members: Sequence[Member]) -> Sampling:
    """The sampling by the one value that states it.

    Raises `Refused` when it is stated twice, or is no positive number.
    """
    if len(found) > 1:
        both = " and ".join(heading.spoken for _, heading in found)
        raise Refused(f"The sampling is stated by {both}. Keep one of them.")
    at, heading = found[0]
    unit = heading.unit or ""
    is_rate = units.compatible(unit, "Hz")
    value = np.array([_value(members[at])])
    with np.errstate(all="ignore"):
        value = units.convert(value, from_unit=unit, to_unit="Hz" if is_rate else "s")
    if not np.isfinite(value[0]) or value[0] <= 0:
        raise Refused(
            f"{heading.spoken} is no positive number, so that samples have no time. Correct it."
        )
    return Sampling(
        float(value[0]),
        is_rate,
        f"Time is counted from the first sample by {heading.spoken}: "
        f"{value[0]:.9g} {'Hz' if is_rate else 's'}.",
    )


def _states(heading: Heading) -> bool:
    name = heading.name.casefold().replace("_", " ").strip()
    if heading.unit is None:
        return False
    if name in _RATES:
        return units.compatible(heading.unit, "Hz")
    return name in _INTERVALS and units.compatible(heading.unit, "s")


def _value(member: Member) -> float:
    """The single value, NaN for what is no number. Raises `Refused` for damage."""
    if member.header.dtype.kind not in "fiu":
        return float("nan")
    try:
        return float(next(member.blocks())[0])
    except Exception as error:  # whatever unpacking stumbles over
        raise Refused(
            f"‘{printable(member.name)}’ cannot be read: the file is damaged. Send it again."
        ) from error
