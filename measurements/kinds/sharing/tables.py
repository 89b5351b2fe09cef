"""The matrix of combinations and ports, the lists beside it, and the facts kept with a run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from measurements.kinds.base import Cell, Details, Listing, Matrix, Setup
from measurements.kinds.coverage import POINTS
from measurements.kinds.sharing.claims import ClaimResult
from measurements.kinds.sharing.combinations import Combination, Reading

# Under the first a port is back at the 5 V that every USB port starts with, above the second it
# had negotiated more. The project's own bounds.
_FALLEN_BELOW_V = 5.5
_NEGOTIATED_ABOVE_V = 6.0

# Under this a load is not being supplied, only an ammeter's offset is read. The project's own.
_NO_POWER_W = 0.5


def details_of(
    setup: Setup, *, combinations: Sequence[Combination], claims: Sequence[ClaimResult]
) -> Details:
    """Everything that is kept with a run beside its values."""
    return Details(
        facts={
            "combinations": [_fact(item) for item in combinations],
            POINTS: [
                {"combination": item.name, "port": port}
                for item in combinations
                for port in item.readings
            ],
        },
        listings=(
            _shares(setup, combinations=combinations),
            *_claims(claims),
            *_conversions(combinations),
        ),
        matrices=(_matrix(setup, combinations=combinations),),
    )


def best_of(combinations: Sequence[Combination]) -> Combination | None:
    """The combination of two or more ports with the highest total; the first of equals."""
    shared = [item for item in combinations if item.total is not None and len(item.ports) > 1]
    return max(shared, key=lambda item: item.measured_w, default=None)


def _fact(combination: Combination) -> dict[str, Any]:
    return {
        "combination": combination.name,
        "ports": {
            port: {
                "voltage_v": reading.voltage_v,
                "current_a": reading.current_a,
                "power_w": reading.power.value,
            }
            for port, reading in combination.readings.items()
        },
        "total_w": None if combination.total is None else combination.total.value,
    }


def _matrix(setup: Setup, *, combinations: Sequence[Combination]) -> Matrix:
    used = {port for item in combinations for port in item.ports}
    ports = [port.label for port in setup.adapter.ports if port.label in used]
    highest: defaultdict[str, float] = defaultdict(float)
    for item in combinations:
        for port, reading in item.readings.items():
            highest[port] = max(highest[port], reading.voltage_v)
    return Matrix(
        key="combinations",
        title=_finding(setup, combinations=combinations),
        row_title="Ports in use, in plug order",
        column_title="Power at the port",
        unit="W",
        decimals=1,
        better="higher",
        rows=tuple(item.name for item in combinations),
        columns=(*ports, "Total"),
        cells=tuple(
            (
                *(_port_cell(item, port, highest_v=highest[port]) for port in ports),
                _total_cell(item, rated_w=setup.adapter.rated_power_w),
            )
            for item in combinations
        ),
    )


def _finding(setup: Setup, *, combinations: Sequence[Combination]) -> str:
    best = best_of(combinations)
    if best is None:
        return "No combination of two or more ports was measured whole"
    share = 100 * best.measured_w / setup.adapter.rated_power_w
    return (
        f"At most {best.measured_w:.1f} W together, with {best.name}: {share:.0f} % of the rated "
        f"{setup.adapter.rated_power_w:g} W"
    )


def _port_cell(combination: Combination, port: str, *, highest_v: float) -> Cell:
    if port not in combination.ports:
        return Cell(text="–")
    reading = combination.readings.get(port)
    if reading is None:
        return Cell(text="not measured", note=f"The file has no row for {port}.")
    if reading.power.value < _NO_POWER_W:
        return Cell(
            value=reading.power.value,
            mark="no power",
            note=f"{port} gives less than {_NO_POWER_W:g} W while {combination.name} is in use.",
        )
    if reading.voltage_v < _FALLEN_BELOW_V and highest_v > _NEGOTIATED_ABOVE_V:
        return Cell(
            value=reading.power.value,
            mark="falls to 5 V",
            note=(
                f"{port} is at {reading.voltage_v:.2f} V here and reaches {highest_v:.2f} V in "
                "another combination."
            ),
        )
    return Cell(value=reading.power.value)


def _total_cell(combination: Combination, *, rated_w: float) -> Cell:
    total = combination.total
    if total is None:
        return Cell(text="incomplete", note=f"No row for {', '.join(combination.missing)}.")
    if combination.is_above(rated_w):
        return Cell(
            value=total.value,
            mark="above rating",
            note=(
                f"More than the adapter's rated {rated_w:g} W by over U = {total.expanded:.2g} W."
            ),
        )
    return Cell(value=total.value)


def _shares(setup: Setup, *, combinations: Sequence[Combination]) -> Listing:
    rated = {port.label: port.rated_power_w for port in setup.adapter.ports}
    adapter_w = setup.adapter.rated_power_w
    return Listing(
        key="ports",
        title="Every port of every combination",
        headings=(
            "Combination",
            "Port",
            "Voltage, V",
            "Current, A",
            "Power, W",
            "U (k = 2), W",
            "Of the port's rating, %",
            "Of the adapter's rating, %",
        ),
        rows=tuple(
            (
                item.name,
                port,
                *_quantities(reading),
                _percent(reading.power.value, rated[port]),
                _percent(reading.power.value, adapter_w),
            )
            for item in combinations
            for port, reading in item.readings.items()
        ),
        numeric=(2, 3, 4, 5, 6, 7),
    )


def _quantities(reading: Reading) -> tuple[str, str, str, str]:
    return (
        f"{reading.voltage_v:.2f}",
        f"{reading.current_a:.3f}",
        f"{reading.power.value:.2f}",
        f"{reading.power.expanded:.2g}",
    )


def _percent(power_w: float, rated_w: float | None) -> str:
    return "" if rated_w is None else f"{100 * power_w / rated_w:.1f}"


def _claims(claims: Sequence[ClaimResult]) -> tuple[Listing, ...]:
    if not claims:
        return ()
    return (
        Listing(
            key="claims",
            title="What the label states, against the measurement",
            headings=(
                "Combination",
                "Port",
                "Stated, W",
                "Tried as",
                "Measured, W",
                "U (k = 2), W",
                "Outcome",
            ),
            rows=tuple(
                (
                    result.claim.combination,
                    result.claim.port,
                    f"{result.claim.power_w:g}",
                    "" if result.tested is None else result.tested.name,
                    "" if result.reading is None else f"{result.reading.power.value:.2f}",
                    "" if result.reading is None else f"{result.reading.power.expanded:.2g}",
                    result.outcome,
                )
                for result in claims
            ),
            numeric=(2, 4, 5),
            note=(
                "Met and not met need U between the two; a claim counts for every "
                "order of plugging in unless the label states several. An indication from one "
                "unit on one bench, never a certification."
            ),
            prominent=True,
        ),
    )


def _conversions(combinations: Sequence[Combination]) -> tuple[Listing, ...]:
    rows = tuple(
        (
            item.name,
            f"{item.measured_w:.2f}",
            f"{item.input_w:.2f}",
            f"{item.conversion.value:.2f}",
            f"{2 * item.conversion.standard_uncertainty:.2g}",
        )
        for item in combinations
        if item.conversion is not None and item.input_w is not None
    )
    if not rows:
        return ()
    return (
        Listing(
            key="conversion",
            title="Conversion efficiency with several ports in use",
            headings=(
                "Combination",
                "Output power, W",
                "Input power, W",
                "Efficiency, %",
                "U (k = 2), points",
            ),
            rows=rows,
            numeric=(1, 2, 3, 4),
        ),
    )
