"""The stretch of a no-load record that counts, and how steady it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measurements.intake.columns import FloatArray, Table
from measurements.metrics.regression import straight_line
from measurements.metrics.uncertainty import standard_error
from measurements.standards import iec_62301_2011 as sampling

SECONDS_PER_HOUR = 3600.0

# A sample exactly on the border of the first third counts, whatever binary fractions make of it.
_BORDER_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Record:
    """A no-load record after its first third was set aside.

    `time_s` [s] counts from the first reading and is None without a time column; `kept` marks
    the readings that count; `mean_w` [W] is their mean, `scatter_w` [W] its standard error.
    `drift_w_per_h` [W/h] is the regression slope over them, None where there is none.
    """

    power_w: FloatArray
    time_s: FloatArray | None
    kept: NDArray[np.bool_]
    mean_w: float
    scatter_w: float
    drift_w_per_h: float | None

    @property
    def kept_count(self) -> int:
        """Number of readings that count."""
        return int(self.kept.sum())

    @property
    def duration_s(self) -> float | None:
        """Length of the whole record [s], None without a time column."""
        return None if self.time_s is None else float(self.time_s[-1])

    @property
    def largest_drift_w_per_h(self) -> float:
        """Drift [W/h] from which on the standard calls a record of this mean unstable."""
        if self.mean_w <= sampling.STABILITY_BOUNDARY_W:
            return sampling.LARGEST_DRIFT_W_PER_H
        return sampling.LARGEST_RELATIVE_DRIFT_PER_H * self.mean_w

    @property
    def is_unstable(self) -> bool:
        """Whether the power drifts, up or down, by as much as the standard's limit or more."""
        drift = self.drift_w_per_h
        return drift is not None and abs(drift) >= self.largest_drift_w_per_h


def record_of(table: Table) -> Record:
    """Set the first third aside, by time where there is one, else by number of readings."""
    power = table["input_power_w"]
    time = table["time_s"] - table["time_s"][0] if "time_s" in table else None
    kept = _last_two_thirds(power.size, time=time)
    drift = None
    if time is not None and kept.sum() >= 3:
        drift = straight_line(time[kept] / SECONDS_PER_HOUR, y=power[kept]).slope
    return Record(
        power_w=power,
        time_s=time,
        kept=kept,
        mean_w=_mean(power[kept]),
        scatter_w=standard_error(power[kept]),
        drift_w_per_h=drift,
    )


def _mean(power: FloatArray) -> float:
    """The mean, counted from the first reading.

    So the mean of equal readings is that reading to the last digit, however many there are,
    and neither a rank nor a limit that is met exactly hangs on rounding.
    """
    return float(power[0] + (power - power[0]).mean())


def _last_two_thirds(count: int, *, time: FloatArray | None) -> NDArray[np.bool_]:
    if time is None:
        return np.arange(count) >= int(count * sampling.DISCARDED_SHARE + _BORDER_SLACK)
    border = time[-1] * (sampling.DISCARDED_SHARE - _BORDER_SLACK)
    return np.asarray(time >= border, dtype=np.bool_)
