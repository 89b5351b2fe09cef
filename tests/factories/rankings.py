"""Cohorts for tests, without the cost of computing runs."""

from __future__ import annotations

from django.utils import timezone

from catalog.actions import PortFacts
from catalog.models import Adapter
from measurements.models import Ledger, Value
from tests.factories.catalog import make_adapter


def standing_value(
    adapter: Adapter, value: float, *, uncertainty: float = 0.001, apart: str = ""
) -> Value:
    """A standby value that stands, without the cost of computing a run."""
    Ledger.turn()
    return Value.objects.create(
        adapter=adapter,
        metric="no-load-power",
        condition_key="line=high",
        line="high",
        value=value,
        standard_uncertainty=uncertainty,
        method="1.0",
        apart=apart,
        current_from=timezone.now(),
    )


def four_ranked() -> list[Adapter]:
    """Four adapters; the second and third cannot be told apart."""
    values = {"Solo 30": 0.05, "Solo 45": 0.1, "Solo 65": 0.1, "Duo 100": 0.3}
    powers = {"Solo 30": 30.0, "Solo 45": 45.0, "Solo 65": 65.0, "Duo 100": 100.0}
    two = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    adapters = []
    for name, value in values.items():
        facts = {"ports": two} if name.startswith("Duo") else {}
        adapter = make_adapter(name, rated_power_w=powers[name], **facts)  # type: ignore[arg-type]
        standing_value(adapter, value)
        adapters.append(adapter)
    return adapters
