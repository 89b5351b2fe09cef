"""Every row of the table of touch limits that can apply, against every sensor."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from measurements.kinds.base import Cell, Listing, Matrix
from measurements.kinds.thermal.sensors import Sensor
from measurements.kinds.thermal.soak import Soak
from measurements.metrics.touch import TouchRow, touch_rows

WHY_CHOSEN = (
    "An adapter is gripped for a few seconds when it is unplugged; which row applies is a "
    "judgement."
)

_NOT_WORN = (
    "The row for parts worn on the body over 8 h is left out, because nobody wears an adapter."
)

_KNOWN_AS = {
    "seen": "read in the published text",
    "secondary": "read in a reproduction of the table",
    "from memory": "from memory, not verified against the published text",
}


def headroom_matrix(soak: Soak) -> Matrix:
    """Sensors over the rows of the table: limit minus highest reading [K]."""
    tightest = min(soak.sensors, key=lambda sensor: sensor.headroom)
    side = "below" if tightest.headroom >= 0 else "above"
    return Matrix(
        key="touch-headroom",
        title=(
            f"{tightest.label} is {abs(tightest.headroom):.1f} K {side} its limit in the row that "
            f"counts, {_row_title(_chosen(tightest))}"
        ),
        row_title="Sensor",
        column_title="Class and duration of contact",
        unit="K",
        decimals=1,
        better="higher",
        rows=tuple(f"{sensor.label} ({sensor.material})" for sensor in soak.sensors),
        columns=tuple(_row_title(row) for row in touch_rows(soak.sensors[0].material)),
        cells=tuple(
            tuple(_cell(sensor, row) for row in touch_rows(sensor.material))
            for sensor in soak.sensors
        ),
    )


def headroom_listing(soak: Soak) -> Listing:
    """The limits of every material under a sensor, and the sensor that comes nearest to each."""
    return Listing(
        key="touch-limits",
        title="Touch limits of the materials under the sensors",
        headings=(
            "Material",
            "Class",
            "Contact",
            "Limit [°C]",
            "Warmest sensor",
            "Headroom [K]",
            "The limit is",
            "Counts",
        ),
        rows=tuple(_listed(soak)),
        numeric=(3, 5),
        note=" ".join(filter(None, (WHY_CHOSEN, _NOT_WORN, soak.apart, _reduced(soak)))),
    )


def headroom_facts(soak: Soak) -> list[dict[str, Any]]:
    """The same as plain JSON, one entry for every sensor and row."""
    return [
        {
            "sensor": sensor.name,
            "material": sensor.material,
            "class": row.energy_class,
            "contact": row.contact,
            "limit_c": row.limit.value,
            "headroom_k": row.limit.value - sensor.highest,
            "standing": row.limit.standing,
            "chosen": row.is_chosen,
        }
        for sensor in soak.sensors
        for row in touch_rows(sensor.material)
    ]


def _cell(sensor: Sensor, row: TouchRow) -> Cell:
    note = f"Limit {row.limit.value:g} °C for {sensor.material}, {_KNOWN_AS[row.limit.standing]}."
    return Cell(
        value=row.limit.value - sensor.highest,
        mark="counts" if row.is_chosen else "",
        note=f"{note} {WHY_CHOSEN}" if row.is_chosen else note,
    )


def _listed(soak: Soak) -> Iterator[tuple[str, ...]]:
    for material in dict.fromkeys(sensor.material for sensor in soak.sensors):
        own = [sensor for sensor in soak.sensors if sensor.material == material]
        warmest = max(own, key=lambda sensor: sensor.highest)
        for row in touch_rows(material):
            yield (
                material,
                row.energy_class,
                row.contact,
                f"{row.limit.value:g}",
                warmest.label,
                f"{row.limit.value - warmest.highest:.1f}".replace("-", "−"),
                _KNOWN_AS[row.limit.standing],
                "yes" if row.is_chosen else "",
            )


def _chosen(sensor: Sensor) -> TouchRow:
    return next(row for row in touch_rows(sensor.material) if row.is_chosen)


def _row_title(row: TouchRow) -> str:
    return f"{row.energy_class}, {row.contact}"


def _reduced(soak: Soak) -> str:
    if soak.power is None or not soak.power.throttled:
        return ""
    return (
        "The output power was reduced during the soak; at full power less headroom would be left."
    )
