"""Populations for the tests of places: adapters with standing values, written in bulk."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils import timezone

from catalog.actions import get_unit
from catalog.models import Adapter
from measurements.kinds import kind_of_metric
from measurements.kinds.base import Condition, Measured
from measurements.models import Ledger, RawFile, Run, Value
from measurements.queries import value_row
from tests.factories.catalog import make_adapter

HIGH_LINE = Condition(line="high")


def stand(
    adapter: Adapter,
    value: float,
    *,
    metric: str = "no-load-power",
    condition: Condition = HIGH_LINE,
    standard_uncertainty: float = 0.0005,
    apart: str = "",
    since: datetime | None = None,
) -> Value:
    """A value that stands for an adapter, as if a run had given it."""
    moment = since or timezone.now()
    raw, _ = RawFile.objects.get_or_create(sha256="0" * 64, size=0)
    run = Run(
        adapter=adapter,
        unit=get_unit(adapter, serial="1"),
        kind=kind_of_metric(metric).slug,
        raw=raw,
        file_name="log.csv",
        mains_v={"high": 230.0, "low": 115.0}.get(condition.line),
        line=condition.line,
        state=Run.State.READY,
        standing=Run.Standing.ACCEPTED,
        accepted_at=moment,
    )
    run.identity = run.id.hex
    run.save()
    measured = Measured(metric, value, standard_uncertainty, condition, apart)
    row = value_row(measured, adapter_id=adapter.pk, run_id=run.pk, current_from=moment)
    row.save()
    Ledger.turn()
    return row


def standby_population(
    values: Mapping[str, float], *, maker: str = "Northfold", **facts: Any
) -> dict[str, Adapter]:
    """Adapters by name, each with a standby value [W] at 230 V."""
    adapters = {name: make_adapter(name, maker=maker, **facts) for name in values}
    for name, value in values.items():
        stand(adapters[name], value)
    return adapters


def run_of(value: Value) -> Run:
    """The run that a value of `stand` came from."""
    assert value.run is not None
    return value.run
