"""The run as a table of output voltage by load."""

from __future__ import annotations

from collections.abc import Sequence

from measurements.kinds.base import Cell, Matrix
from measurements.kinds.efficiency.outputs import OutputResult
from measurements.metrics.efficiency import NAMED_LOADS, LoadState
from measurements.metrics.uncertainty import AS_READ

_DECIMALS = 1


def matrices_of(results: Sequence[OutputResult]) -> tuple[Matrix, ...]:
    """Efficiency of every output at the loads of the method; none when no load was reached."""
    reached = [
        (_as_read(state), load, item.output.name)
        for item in results
        for load in NAMED_LOADS
        if (state := item.states[load]) is not None
    ]
    if not reached:
        return ()
    return (
        Matrix(
            key="efficiency",
            title=_finding(reached),
            row_title="Output voltage",
            column_title="Load",
            unit="%",
            decimals=_DECIMALS,
            better="higher",
            rows=tuple(item.output.name for item in results),
            columns=tuple(f"{load:g} %" for load in NAMED_LOADS),
            cells=tuple(
                tuple(_cell(item.states[load]) for load in NAMED_LOADS) for item in results
            ),
        ),
    )


def _finding(reached: Sequence[tuple[float, float, str]]) -> str:
    best, worst = max(reached), min(reached)
    if best[0] == worst[0]:
        return f"{best[0]:.{_DECIMALS}f} % efficiency"
    return (
        f"Efficiency from {worst[0]:.{_DECIMALS}f} % ({worst[2]}, {worst[1]:g} % load) to "
        f"{best[0]:.{_DECIMALS}f} % ({best[2]}, {best[1]:g} % load)"
    )


def _cell(state: LoadState | None) -> Cell:
    if state is None:
        return Cell(text="–", note="The load lies outside the measured range.")
    if state.interpolated:
        return Cell(
            _as_read(state),
            mark="interpolated",
            note="No point was measured at this load; the loss lies between its neighbours.",
        )
    return Cell(_as_read(state))


def _as_read(state: LoadState) -> float:
    return float(state.efficiency_percent[AS_READ])
