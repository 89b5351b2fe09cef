"""What a thermal table holds: sensors with their material, the ambient, the time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from measurements.intake.columns import FloatArray, Table
from measurements.kinds.base import Setup
from measurements.metrics.limits import Limit, touch_limit

MATERIALS = ("metal", "glass", "plastic", "wood")
AMBIENT_COLUMN = "ambient_c"
_SUFFIX = "_c"


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor on the surface; `readings` [°C], NaN where the table has a blank."""

    name: str
    material: str
    readings: FloatArray

    @property
    def column(self) -> str:
        """Name of its column in table and trace."""
        return self.name + _SUFFIX

    @property
    def label(self) -> str:
        """What a person calls it: ``top face``."""
        return self.name.replace("_", " ")

    @property
    def highest(self) -> float:
        """Highest reading [°C]."""
        return float(np.nanmax(self.readings))

    @property
    def limit(self) -> Limit:
        """Touch limit of its material for the contact that an adapter is judged by."""
        return touch_limit(self.material)

    @property
    def headroom(self) -> float:
        """Touch limit minus highest reading [K]."""
        return self.limit.value - self.highest


@dataclass(frozen=True, slots=True)
class Ambient:
    """Temperature of the room: `mean` [°C] or None when nobody recorded it.

    `series` [°C] holds one reading a row when the table has them, its blanks filled with the
    mean; it is None when the mean comes from the form.
    """

    mean: float | None
    series: FloatArray | None = None


def sensor_names(table: Table) -> tuple[str, ...]:
    """The sensors of the table, in the order of its columns."""
    return tuple(
        name.removesuffix(_SUFFIX)
        for name in table.columns
        if name.endswith(_SUFFIX) and name != AMBIENT_COLUMN
    )


def sensors_of(table: Table, setup: Setup) -> tuple[Sensor, ...]:
    """Every sensor of a checked table with its material."""
    materials = stated_materials(table, setup)
    return tuple(
        Sensor(
            name=name,
            material=materials.get(name, setup.adapter.enclosure),
            readings=table[name + _SUFFIX],
        )
        for name in sensor_names(table)
    )


def stated_materials(table: Table, setup: Setup) -> Mapping[str, str]:
    """Sensor → material as the form gives it, by the sensor's name in the table.

    The form may name a sensor as the person does: ``Top face`` or ``top_face_c`` both mean the
    column ``top_face_c``. A name that the table does not have stays as it is.
    """
    stated = setup.fields.get("materials")
    if not isinstance(stated, Mapping):
        return {}
    names = sensor_names(table)
    return {
        _sensor_name(str(sensor), names=names): str(material) for sensor, material in stated.items()
    }


def ambient_of(table: Table, setup: Setup) -> Ambient:
    """The room's temperature from the table, else from the form."""
    if AMBIENT_COLUMN in table:
        readings = table[AMBIENT_COLUMN]
        given = ~np.isnan(readings)
        if np.any(given):
            mean = float(np.mean(readings[given]))
            return Ambient(mean=mean, series=np.where(given, readings, mean))
    return Ambient(mean=setup.ambient_c)


def _sensor_name(text: str, *, names: tuple[str, ...]) -> str:
    words = "".join(letter if letter.isalnum() else " " for letter in text.casefold()).split()
    name = "_".join(words)
    # A sensor at a USB-C receptacle ends in the suffix itself, so that the whole name goes first.
    return name if name in names else name.removesuffix(_SUFFIX)
