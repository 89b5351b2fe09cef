"""Every row of the table of touch limits, and the one by which an adapter is judged."""

from __future__ import annotations

from dataclasses import dataclass

from measurements.metrics.limits import EnergyClass, Limit, touch_limit
from measurements.standards import iec_62368_1_2018 as touch

_CLASSES: tuple[EnergyClass, ...] = ("TS1", "TS2")


@dataclass(frozen=True, slots=True)
class TouchRow:
    """One row of the table of touch limits, for one material.

    Parameters
    ----------
    energy_class, contact : str
        ``TS1`` (no pain) or ``TS2`` (pain, no injury), and the duration of contact. [-]
    limit : Limit
        Highest temperature of the surface. [°C]
    is_chosen : bool
        Whether it is the row by which an adapter is judged. [-]
    """

    energy_class: EnergyClass
    contact: str
    limit: Limit
    is_chosen: bool


def touch_rows(material: str) -> tuple[TouchRow, ...]:
    """Every row of the table of touch limits for one material.

    Parameters
    ----------
    material : str
        ``metal``, ``glass``, ``plastic`` or ``wood``. [-]

    Returns
    -------
    rows : tuple of TouchRow
        TS1 from the longest contact to the shortest, then TS2. [°C]

    Raises
    ------
    KeyError
        If the table has no such material.

    Notes
    -----
    The row by which an adapter is judged, TS1 at a contact of 1 s to 10 s, is a judgement: it is
    gripped for a few seconds when it is unplugged.

    References
    ----------
    .. [1] `iec-62368-1`, 2018, Table 38.
    """
    return tuple(
        TouchRow(
            energy_class=energy_class,
            contact=contact,
            limit=touch_limit(material, contact=contact, energy_class=energy_class),
            is_chosen=energy_class == "TS1" and contact == touch.DEFAULT_CONTACT,
        )
        for energy_class in _CLASSES
        for contact in touch.CONTACTS
    )
