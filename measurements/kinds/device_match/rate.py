"""The match rate: an adapter's devices against the most that any adapter gave them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from measurements.kinds.base import Condition, History, Measured

MATCHED_SHARE = 0.9
"""Share of a device's best power from which a port counts as a match for it [1]."""

# Under this a device is not charging, only an ammeter's offset is read. The project's own.
NO_POWER_W = 0.5

FEWEST_DEVICES = 2

# 0.9 · 31 W is a hair above 27.9 W in binary fractions.
_ROUNDING = 1e-9


def is_matched(power_w: float, *, best_w: float) -> bool:
    """Whether a power [W] reaches nine tenths of the device's best [W]."""
    return power_w >= MATCHED_SHARE * best_w * (1 - _ROUNDING)


def derive(history: History) -> History:
    """The match rate [%] of every adapter, from the standing `matched-power` [W] of all of them.

    A device's best is the highest power that any of the adapters gave it. An adapter's rate is
    the share of its own devices that it gave at least nine tenths of their best; a device to
    which no adapter gave half a watt does not count. Point values decide. How far that decision
    could go the other way is the uncertainty: each device is an independent trial that succeeds
    with the probability that its true power reaches the bound, and the rate's standard
    uncertainty [%] is the standard deviation of the share of successes.
    """
    powers = {adapter: _by_device(values) for adapter, values in history.items()}
    best: dict[str, Measured] = {}
    for own in powers.values():
        for device, measured in own.items():
            if device not in best or measured.value > best[device].value:
                best[device] = measured
    return {adapter: _rate(own, best=best) for adapter, own in powers.items()}


def match_probability(own: Measured, *, best: Measured) -> float:
    """Probability [1] that the true power reaches nine tenths of the true best.

    Both errors count as normal and independent. The best itself is certain to match.
    """
    if own.value >= best.value:
        return 1.0
    uncertainty = math.hypot(own.standard_uncertainty, MATCHED_SHARE * best.standard_uncertainty)
    if uncertainty == 0:
        return float(is_matched(own.value, best_w=best.value))
    margin = own.value - MATCHED_SHARE * best.value
    return math.erfc(-margin / uncertainty / math.sqrt(2)) / 2


def _by_device(values: Iterable[Measured]) -> Mapping[str, Measured]:
    """Highest comparable power of every device."""
    powers: dict[str, Measured] = {}
    for measured in values:
        device = measured.condition.device
        if measured.metric != "matched-power" or measured.apart or not device:
            continue
        if device not in powers or measured.value > powers[device].value:
            powers[device] = measured
    return powers


def _rate(own: Mapping[str, Measured], *, best: Mapping[str, Measured]) -> tuple[Measured, ...]:
    devices = [device for device in own if best[device].value >= NO_POWER_W]
    if not devices:
        return ()
    matched = sum(is_matched(own[device].value, best_w=best[device].value) for device in devices)
    chances = [match_probability(own[device], best=best[device]) for device in devices]
    variance = sum(chance * (1 - chance) for chance in chances)
    count = len(devices)
    apart = ""
    if count < FEWEST_DEVICES:
        apart = f"Only one device was tried; rates are compared from {FEWEST_DEVICES} devices on."
    return (
        Measured(
            metric="match-rate",
            value=100 * matched / count,
            standard_uncertainty=100 * math.sqrt(variance) / count,
            condition=Condition(),
            apart=apart,
        ),
    )
