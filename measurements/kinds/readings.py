"""Voltages and currents read at ports: what no USB output can give."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measurements.intake.columns import Problem, Table

# Well above 48 V and 5 A of USB Power Delivery, with room for other modes: more is a wrong unit.
# The project's own bounds.
HIGHEST = {"voltage_v": (60.0, "V"), "current_a": (20.0, "A")}


def port_readings(table: Table) -> Iterator[Problem]:
    """Cells of `voltage_v` and `current_a` that are blank, negative or beyond any USB output."""
    for column, (highest, unit) in HIGHEST.items():
        for row, value in zip(table.rows, table[column], strict=True):
            detail = ""
            if not np.isfinite(value):
                detail = "The cell holds no finite number; fill it in or delete the row."
            elif value < 0:
                detail = f"{value:g} {unit} is negative; check the sign and the wiring."
            elif value > highest:
                detail = (
                    f"{value:g} {unit} is more than any USB output gives (up to {highest:g} "
                    f"{unit} is accepted); check the unit."
                )
            if detail:
                yield Problem(detail, row=int(row), column=column)
