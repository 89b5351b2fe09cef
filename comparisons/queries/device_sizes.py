"""Volume and mass of every adapter as arrays, with what their rounding makes uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from catalog.models import Adapter
from comparisons.queries.cohorts import remembered
from comparisons.ranking import BoolArray, FloatArray, IntArray
from measurements.kinds.physical import DIMENSION_LIMIT_MM, MASS_LIMIT_G
from measurements.metrics.density import CUBIC_MILLIMETRES_PER_CUBIC_CENTIMETRE
from measurements.metrics.uncertainty import rectangular
from measurements.models import Ledger

_KEY = "sizes"


@dataclass(frozen=True, slots=True)
class Sizes:
    """Volume [cm³] and mass [g] of adapters with standard uncertainties; NaN unknown.

    Lengths count as known to ±0.5 mm and masses to ±0.5 g, as in the power density.
    """

    adapter_ids: IntArray
    volume_cm3: FloatArray
    volume_u: FloatArray
    mass_g: FloatArray
    mass_u: FloatArray

    def only(self, chosen: BoolArray | IntArray) -> Sizes:
        """Some of them, or all of them in an order."""
        return Sizes(
            self.adapter_ids[chosen],
            self.volume_cm3[chosen],
            self.volume_u[chosen],
            self.mass_g[chosen],
            self.mass_u[chosen],
        )


def adapter_sizes() -> Sizes:
    """The sizes of all adapters by rising id, remembered while the stamp stands; two queries."""
    stamp = Ledger.read()
    found = remembered.get(_KEY, stamp=stamp)
    if found is None:
        found = _read()
        remembered.put(_KEY, found, stamp=stamp, size=len(found.adapter_ids) + 1)
    return found


def _read() -> Sizes:
    rows = Adapter.objects.order_by("pk").values_list(
        "pk", "length_mm", "width_mm", "height_mm", "mass_g"
    )
    table = np.array(list(rows.iterator()), dtype=np.float64).reshape(-1, 5)
    sides, mass = table[:, 1:4], table[:, 4]
    volume = sides.prod(axis=1) / CUBIC_MILLIMETRES_PER_CUBIC_CENTIMETRE
    relative = np.sqrt(((rectangular(DIMENSION_LIMIT_MM) / sides) ** 2).sum(axis=1))
    return Sizes(
        adapter_ids=table[:, 0].astype(np.int64),
        volume_cm3=volume,
        volume_u=volume * relative,
        mass_g=mass,
        mass_u=np.where(np.isnan(mass), np.nan, rectangular(MASS_LIMIT_G)),
    )
