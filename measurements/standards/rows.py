"""The shape in which published limits are written down. Data only, no arithmetic."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Sense = Literal["at most", "at least"]
SupplyRow = Literal["basic", "low", "multiple"]
Standing = Literal["seen", "secondary", "from memory"]
"""How a value was obtained: read in the published text, read in a reproduction of it, or
neither. A value from memory is never shown without saying so."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A limit as a function of the rated power P [W]: ``log · ln P + linear · P + constant``.

    Power limits are in [W], efficiency limits are fractions [-], as their tables print them.
    """

    constant: float
    linear: float = 0.0
    log: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One cell of a table of limits.

    It holds for rated powers [W] above `above_w` up to and including `up_to_w`. `alternative`
    is a rival reading of the same cell where reproductions of the table disagree.
    `adaptive_w` [W] is the limit that the publisher applies instead to a supply whose output
    voltage is negotiated, `adaptive_note` what else concerns such a supply.
    """

    quantity: Literal["no-load-power", "average-efficiency", "efficiency-at-10"]
    supply: SupplyRow
    above_w: float
    up_to_w: float
    curve: Curve
    clause: str
    standing: Standing
    note: str = ""
    alternative: Curve | None = None
    adaptive_note: str = ""
    adaptive_w: float | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """How a scheme wants its quantities measured, as far as a run can tell.

    Mains voltage [V] and frequency [Hz] may differ by `mains_tolerance_percent` [%], the room
    temperature [°C] by `ambient_tolerance_k` [K]. `warm_up_min` [min] at full load comes before
    the first reading, None where nothing is known to be asked.
    """

    mains_v: float
    mains_hz: float
    mains_tolerance_percent: float
    ambient_c: float
    ambient_tolerance_k: float
    source: str
    warm_up_min: float | None = None


@dataclass(frozen=True, slots=True)
class Scheme:
    """A published set of limits and the rated powers [W] that it covers, ends included.

    `adaptive_method` is the source of the way in which a supply of negotiated voltage is loaded,
    "" where the scheme has none of its own.
    """

    key: str
    title: str
    source: str
    lowest_power_w: float
    highest_power_w: float
    method: Method
    rows: tuple[LimitRow, ...]
    adaptive_method: str = ""


@dataclass(frozen=True, slots=True)
class TouchLimit:
    """Highest temperature [°C] of a surface of one material, for one duration of contact."""

    material: Literal["metal", "glass", "plastic", "wood"]
    contact: str
    temperature_c: float
    standing: Standing
