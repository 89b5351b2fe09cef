"""The combinations that the method asks for."""

from __future__ import annotations

from itertools import combinations

from measurements.kinds.base import AdapterFacts, PlannedRun, Setup
from measurements.kinds.sharing.labels import combination_name

COLUMNS = ("combination", "port", "voltage_v", "current_a", "input_power_w")


def planned_orders(adapter: AdapterFacts) -> tuple[tuple[str, ...], ...]:
    """Every pair of ports in both orders of plugging in, then all ports in the catalogue's."""
    labels = tuple(port.label for port in adapter.ports)
    pairs = [
        order
        for first, second in combinations(labels, 2)
        for order in ((first, second), (second, first))
    ]
    return (*pairs, labels) if len(labels) > 2 else tuple(pairs)


def plan(setup: Setup) -> tuple[PlannedRun, ...]:
    """One run with every planned combination; none for an adapter with fewer than two ports."""
    orders = planned_orders(setup.adapter)
    if not orders:
        return ()
    return (
        PlannedRun(
            title="Power shared by ports in use together",
            fields={},
            columns=COLUMNS,
            rows=tuple(
                (combination_name(order), port, None, None, None)
                for order in orders
                for port in order
            ),
            note=(
                "Plug in the ports in the order in which the combination names them, set every "
                "load to the most its port gives, and wait until nothing changes. The input "
                "power may stand on one row of a combination or stay blank. Each port alone is "
                "a welcome reference."
            ),
        ),
    )
