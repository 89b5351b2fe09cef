"""Surface temperatures against the touch limits, with what keeps that from being exact."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from measurements.kinds.base import Measured, Verdict
from measurements.kinds.judging import judge
from measurements.kinds.thermal.power import reduction_text
from measurements.kinds.thermal.sensors import Sensor
from measurements.kinds.thermal.soak import Soak
from measurements.standards.iec_62368_1_2018 import AMBIENT_C

# A sensor whose curve still has this far to go was not at its highest temperature yet.
_STILL_RISING_K = 1.0


def verdicts_of(surfaces: Sequence[Measured], *, soak: Soak) -> tuple[Verdict, ...]:
    """A verdict for every sensor; `surfaces` are its highest readings, in the same order."""
    return tuple(
        verdict
        for sensor, measured in zip(soak.sensors, surfaces, strict=True)
        for verdict in judge(
            measured, limits=(sensor.limit,), deviations=_deviations(sensor, soak=soak)
        )
    )


def _deviations(sensor: Sensor, *, soak: Soak) -> tuple[str, ...]:
    sentences = [
        f"Judged as {sensor.limit.row}: an adapter is gripped briefly when it is unplugged. "
        "Which row of the table applies is a judgement."
    ]
    if soak.ambient_off:
        sentences.append(
            f"{soak.ambient_off} The limits hold at {AMBIENT_C:g} °C and are not recalculated."
        )
    sentences += _power_deviations(soak)
    if soak.is_short:
        sentences.append(
            f"The soak lasted {soak.duration_min:.4g} min; the limit is meant for the highest "
            "temperature of a settled adapter."
        )
    if soak.accuracy is None:
        sentences.append(
            "No instrument is named for temperature: its accuracy is missing from the "
            "uncertainty, and the verdict is less certain than it looks."
        )
    settled = soak.settled.get(sensor.name)
    if settled is not None and settled - sensor.highest > _STILL_RISING_K:
        sentences.append(
            f"The temperature was still rising at the end; its curve settles at {settled:.1f} °C."
        )
    elif (slope := soak.still_rising.get(sensor.name)) is not None:
        sentences.append(
            f"The temperature was still rising at the end, by {slope:.1f} K/h over the last ten "
            "minutes."
        )
    return tuple(sentences)


def _power_deviations(soak: Soak) -> Iterator[str]:
    """Where the output was not at its full power all the time."""
    power = soak.power
    if power is None:
        return
    if power.partial:
        yield f"{power.partial} At full load the surface is hotter."
    if power.throttled:
        yield (
            f"The output was reduced {reduction_text(power, power.throttled[0])}; at full power "
            "the surface would be hotter."
        )
    if power.off is not None:
        yield f"The output power fell {reduction_text(power, power.off)}."
