"""Verdicts: a measured value against published limits, with what keeps them from being exact."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from measurements.kinds.base import Measured, Setup, Verdict
from measurements.metrics.decision import decide
from measurements.metrics.limits import Limit, limits_for, method_of

# 232.3 V is 1 % above 230 V, which binary fractions would make a hair more.
_ROUNDING = 1e-9


def judge(
    measured: Measured,
    limits: Iterable[Limit],
    *,
    deviations: Callable[[Limit], tuple[str, ...]] | tuple[str, ...] = (),
) -> tuple[Verdict, ...]:
    """One verdict for every limit on the measured metric, in the order of the limits.

    `deviations` are sentences, or give the sentences for a limit: where the measurement departs
    from the method that the limit's scheme prescribes. A limit's own note, and that its number is
    from memory, are added after them.
    """
    verdicts = []
    for limit in limits:
        if limit.quantity != measured.metric:
            continue
        decision = decide(
            measured.value,
            standard_uncertainty=measured.standard_uncertainty,
            limit=limit.value,
            sense=limit.sense,
        )
        departures = deviations(limit) if callable(deviations) else deviations
        verdicts.append(
            Verdict(
                scheme=limit.scheme,
                clause=limit.clause,
                quantity=limit.quantity,
                condition=measured.condition,
                limit=limit.value,
                sense=limit.sense,
                value=measured.value,
                expanded_uncertainty=decision.expanded_uncertainty,
                margin=decision.margin,
                outcome=decision.outcome,
                deviations=(*departures, *_remarks(limit)),
            )
        )
    return tuple(verdicts)


def method_deviations(limit: Limit, *, setup: Setup) -> tuple[str, ...]:
    """Where the run departs from the limit's scheme in mains, room, warm-up and kind of supply."""
    return (
        *mains_deviations(limit, setup=setup),
        *ambient_deviations(limit, setup=setup),
        *warm_up_deviations(limit),
        *supply_deviations(limit, setup=setup),
    )


def warm_up_deviations(limit: Limit) -> tuple[str, ...]:
    """That a file does not show whether the adapter was warmed up as the scheme asks."""
    asked = method_of(limit.scheme).warm_up_min
    if asked is None:
        return ()
    return (
        f"Warm-up not recorded; the method prescribes {asked:g} min at full load before the "
        "first reading.",
    )


def instrument_deviations(setup: Setup, *, quantities: Iterable[str]) -> tuple[str, ...]:
    """For which of the `quantities` no instrument is named, so that U is too small."""
    missing = [item.replace("_", " ") for item in quantities if not setup.accuracies_of(item)]
    if not missing:
        return ()
    return (
        f"No instrument is named for {' and '.join(missing)}: its accuracy is missing from the "
        "uncertainty, and the verdict is less certain than it looks.",
    )


def mains_deviations(limit: Limit, *, setup: Setup) -> tuple[str, ...]:
    """Where mains voltage or frequency lie outside what the scheme prescribes."""
    method = method_of(limit.scheme)
    tolerance = method.mains_tolerance_percent / 100
    sentences = []
    for name, unit, actual, prescribed in (
        ("Mains voltage", "V", setup.mains_v, method.mains_v),
        ("Mains frequency", "Hz", setup.mains_hz, method.mains_hz),
    ):
        wanted = f"the method prescribes {prescribed:g} {unit} ±{tolerance:.0%}"
        if actual is None:
            sentences.append(f"{name} not recorded; {wanted}.")
        elif abs(actual - prescribed) > tolerance * prescribed * (1 + _ROUNDING):
            sentences.append(f"{name} was {actual:g} {unit}; {wanted}.")
    return tuple(sentences)


def ambient_deviations(limit: Limit, *, setup: Setup) -> tuple[str, ...]:
    """Where the room's temperature is unknown, or outside what the scheme prescribes."""
    method = method_of(limit.scheme)
    wanted = f"the method prescribes {method.ambient_c:g} ± {method.ambient_tolerance_k:g} °C"
    if setup.ambient_c is None:
        return (f"Ambient not recorded; {wanted}.",)
    if abs(setup.ambient_c - method.ambient_c) > method.ambient_tolerance_k:
        return (f"Ambient was {setup.ambient_c:g} °C; {wanted}.",)
    return ()


def supply_deviations(limit: Limit, *, setup: Setup) -> tuple[str, ...]:
    """What the multiple-voltage row would ask of a supply with several ports.

    Whether several ports that negotiate independently make a multiple-voltage supply is a matter
    of interpretation, so the other reading's limit is stated with the verdict.
    """
    adapter = setup.adapter
    if len(adapter.ports) < 2 or adapter.supply == "multiple":
        return ()
    for other in limits_for(adapter.rated_power_w, supply="multiple"):
        if other.scheme == limit.scheme and other.quantity == limit.quantity:
            return (
                f"Judged as one {adapter.supply} supply although it has {len(adapter.ports)} "
                f"ports; as a multiple-voltage supply its limit would be {other.sense} "
                f"{other.value:.4g} {other.unit}.",
            )
    return ()


def _remarks(limit: Limit) -> tuple[str, ...]:
    remarks = [limit.note] if limit.note else []
    if limit.standing == "from memory":
        remarks.append("The limit is not verified against the published text (from memory).")
    return tuple(remarks)
