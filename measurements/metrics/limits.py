"""Which published limits hold for a supply of a given rating, and what they are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from measurements.standards import iec_62368_1_2018 as touch
from measurements.standards import usb_pd_output_tolerance as usb_output
from measurements.standards.eu_2019_1782 import EU_2019_1782
from measurements.standards.eu_coc_v5_2014 import TIER_1, TIER_2
from measurements.standards.rows import (
    Curve,
    LimitRow,
    Method,
    Scheme,
    Sense,
    Standing,
    SupplyRow,
    TouchLimit,
)
from measurements.standards.us_doe_level_vi_2016 import LEVEL_VI

SCHEMES: tuple[Scheme, ...] = (LEVEL_VI, EU_2019_1782, TIER_1, TIER_2)
"""The efficiency schemes, in the order in which they are shown."""

LOW_VOLTAGE_BELOW_V = 6.0
LOW_VOLTAGE_FROM_A = 0.55

EnergyClass = Literal["TS1", "TS2"]

_CLASSES: dict[EnergyClass, tuple[TouchLimit, ...]] = {"TS1": touch.TS1, "TS2": touch.TS2}


@dataclass(frozen=True, slots=True)
class Limit:
    """A published limit, worked out for one rating.

    Parameters
    ----------
    scheme, title, clause : str
        Key and name of the set of limits, and where in it the limit stands. [-]
    quantity : str
        Metric that it limits. [-]
    row : str
        Row of the table: ``basic``, ``low`` or ``multiple``, material and contact, or
        ``fixed`` of an output voltage. [-]
    sense : str
        ``at most`` or ``at least``; the limit itself is allowed. [-]
    value : float
        The limit, not rounded. [W, % or °C, as `unit` says]
    unit : str
        Unit of the value. [-]
    source, standing, note : str
        Key in `measurements.standards.sources`; how the number was obtained; sentences that
        whoever reads the limit should know, or empty. [-]
    """

    scheme: str
    title: str
    clause: str
    quantity: str
    row: str
    sense: Sense
    value: float
    unit: str
    source: str
    standing: Standing
    note: str


def limits_for(
    rated_power_w: float,
    *,
    output_v: float | None = None,
    output_a: float | None = None,
    supply: str | None = None,
) -> tuple[Limit, ...]:
    """Every scheme's limits on no-load power, efficiency and output voltage for one rating.

    Parameters
    ----------
    rated_power_w : float
        Nameplate output power, of the output voltage that is judged. [W]
    output_v : float or None
        Nameplate output voltage; with `output_a` it decides the low-voltage row. Without it
        there is no limit on the output voltage. [V]
    output_a : float or None
        Nameplate output current at that voltage. [A]
    supply : str or None
        ``single``, ``adaptive`` (voltage is negotiated), ``multiple`` (different voltages at
        the same time), or None when it is not known. [-]

    Returns
    -------
    limits : tuple of Limit
        In the order of `SCHEMES`, then that on the output voltage; none of a scheme that does
        not cover the power. [W for no-load power, % for efficiencies and output voltage]

    Raises
    ------
    ValueError
        If the power is not a positive number.

    Notes
    -----
    A supply below 6 V and of 0.55 A or more is a low-voltage one. Nothing is rounded.
    An adaptive supply up to 49 W is held by (EU) 2019/1782 to 0.21 W at no load; for a
    supply of unknown kind the table's 0.10 W is given and the note says so.

    References
    ----------
    .. [1] `us-doe-level-vi`, 10 CFR 430.32(w).
    .. [2] `eu-2019-1782`, Annex II.
    .. [3] `eu-coc-v5`, no-load and active-mode criteria.
    .. [4] `common-practice`, USB Power Delivery output tolerance, from memory.
    """
    if not 0 < rated_power_w < math.inf:
        raise ValueError(f"Rated power must be a positive number of watts, not {rated_power_w}.")
    row = _supply_row(output_v=output_v, output_a=output_a, supply=supply)
    of_schemes = tuple(
        _worked_out(cell, scheme=scheme, power=rated_power_w, supply=supply)
        for scheme in SCHEMES
        if scheme.lowest_power_w <= rated_power_w <= scheme.highest_power_w
        for cell in scheme.rows
        if cell.supply == row and cell.above_w < rated_power_w <= cell.up_to_w
    )
    return of_schemes if output_v is None else (*of_schemes, output_tolerance())


def output_tolerance() -> Limit:
    """How far the output of a USB Power Delivery source may lie from a fixed voltage.

    Returns
    -------
    limit : Limit
        Limit on ``output-deviation``. [%]

    References
    ----------
    .. [1] `common-practice`, and from memory the USB Power Delivery specification.
    """
    return Limit(
        scheme=usb_output.KEY,
        title=usb_output.TITLE,
        clause=usb_output.CLAUSE,
        quantity="output-deviation",
        row="fixed",
        sense="at most",
        value=usb_output.TOLERANCE_PERCENT,
        unit="%",
        source=usb_output.SOURCE,
        standing=usb_output.STANDING,
        note=usb_output.NOTE,
    )


def touch_limit(
    material: str,
    *,
    contact: str = touch.DEFAULT_CONTACT,
    energy_class: EnergyClass = "TS1",
) -> Limit:
    """Highest allowed temperature of a touchable surface.

    The row for parts worn on the body over 8 h is not among them: nobody wears an adapter.

    Parameters
    ----------
    material : str
        ``metal``, ``glass``, ``plastic`` or ``wood``. [-]
    contact : str
        Duration of contact, one of the names in `measurements.standards.iec_62368_1_2018`. [-]
    energy_class : str
        ``TS1`` (no pain) or ``TS2`` (pain, no injury). [-]

    Returns
    -------
    limit : Limit
        Limit on ``surface-temperature`` at 25 °C ambient. [°C]

    Raises
    ------
    KeyError
        If the table has no such material or contact.

    References
    ----------
    .. [1] `iec-62368-1`, 2018, Table 38.
    """
    for cell in _CLASSES[energy_class]:
        if cell.material == material and cell.contact == contact:
            return Limit(
                scheme=touch.KEY,
                title=touch.TITLE,
                clause=f"Table 38, {energy_class}",
                quantity="surface-temperature",
                row=f"{material}, contact {contact}",
                sense="at most",
                value=cell.temperature_c,
                unit="°C",
                source=touch.SOURCE,
                standing=cell.standing,
                note="",
            )
    raise KeyError(f"No touch limit for {material}, contact {contact}.")


def method_of(scheme: str) -> Method:
    """How an efficiency scheme wants its quantities measured.

    Parameters
    ----------
    scheme : str
        Key of one of `SCHEMES`. [-]

    Returns
    -------
    method : Method
        Mains voltage [V], frequency [Hz], room temperature [°C] and their tolerances.

    Raises
    ------
    KeyError
        If there is no such scheme.
    """
    return {item.key: item.method for item in SCHEMES}[scheme]


def adaptive_loading_of(scheme: str) -> str:
    """Source of the way in which a scheme loads a supply of negotiated voltage.

    Parameters
    ----------
    scheme : str
        Key of a set of limits. [-]

    Returns
    -------
    source : str
        Key in `measurements.standards.sources`; "" for a scheme without such a way. [-]
    """
    return next((item.adaptive_method for item in SCHEMES if item.key == scheme), "")


def _supply_row(*, output_v: float | None, output_a: float | None, supply: str | None) -> SupplyRow:
    if supply == "multiple":
        return "multiple"
    if output_v is None or output_a is None:
        return "basic"
    low = output_v < LOW_VOLTAGE_BELOW_V and output_a >= LOW_VOLTAGE_FROM_A
    return "low" if low else "basic"


def _evaluated(curve: Curve, *, power: float, scale: float) -> float:
    return scale * (curve.log * math.log(power) + curve.linear * power + curve.constant)


def _worked_out(cell: LimitRow, *, scheme: Scheme, power: float, supply: str | None) -> Limit:
    is_power = cell.quantity == "no-load-power"
    scale = 1.0 if is_power else 100.0  # efficiencies are tabulated as fractions
    value = _evaluated(cell.curve, power=power, scale=scale)
    notes = [cell.note] if cell.note else []
    if supply in ("adaptive", None) and cell.adaptive_note:
        notes.append(cell.adaptive_note)
    if supply == "adaptive" and cell.adaptive_w is not None:
        value = cell.adaptive_w
    if cell.alternative is not None:
        rival = _evaluated(cell.alternative, power=power, scale=scale)
        notes.append(
            f"Reproductions of the table disagree: another reading gives {rival:.2f} % here, "
            f"this one {value:.2f} %."
        )
    return Limit(
        scheme=scheme.key,
        title=scheme.title,
        clause=cell.clause,
        quantity=cell.quantity,
        row=cell.supply,
        sense="at most" if is_power else "at least",
        value=value,
        unit="W" if is_power else "%",
        source=scheme.source,
        standing=cell.standing,
        note=" ".join(notes),
    )
