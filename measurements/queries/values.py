"""Values: what stands, as rows, and their conditions in words."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.conf import settings
from django.db.models import Q, QuerySet

from catalog.models import Adapter, Viewer
from measurements.kinds import all_metrics
from measurements.kinds.base import (
    Condition,
    Measured,
    Metric,
)
from measurements.kinds.physical import physical_values
from measurements.metrics.efficiency import NAMED_LOADS
from measurements.models import Value

_LOADS = {
    "none": "no load",
    "full": "full load",
    **{f"{load:g} %": f"at {load:g} % load" for load in NAMED_LOADS},
}


def method_of(metric: str) -> str:
    """The method version that computes a metric today."""
    return all_metrics()[metric].method


def begun_since(moment: datetime) -> Q:
    """Values that began to stand, or whose adapter came out of embargo, since `moment`."""
    out = Adapter.objects.come_out_since(moment).values("pk")
    return Q(current_from__gte=moment) | Q(adapter__in=out)


def metrics_listed() -> tuple[Metric, ...]:
    """Every metric that the site computes, in the order of declaration."""
    return tuple(all_metrics().values())


def value_row(
    measured: Measured,
    *,
    adapter_id: int,
    run_id: uuid.UUID | None,
    current_from: datetime | None,
) -> Value:
    """An unsaved `Value` of what the core measured."""
    condition = measured.condition
    return Value(
        adapter_id=adapter_id,
        run_id=run_id,
        metric=measured.metric,
        condition_key=condition.key,
        line=condition.line,
        output_v=condition.output_v,
        load=condition.load,
        load_percent=condition.load_percent,
        device=condition.device,
        sensor=condition.sensor,
        port=condition.port,
        value=measured.value,
        standard_uncertainty=measured.standard_uncertainty,
        method=method_of(measured.metric),
        apart=measured.apart,
        current_from=current_from,
    )


def physical_measures(adapter: Adapter) -> tuple[Measured, ...]:
    """What follows from the catalogue's facts of an adapter alone."""
    return physical_values(
        rated_power_w=adapter.rated_power_w,
        length_mm=adapter.length_mm,
        width_mm=adapter.width_mm,
        height_mm=adapter.height_mm,
        mass_g=adapter.mass_g,
    )


def current_values(
    *, viewer: Viewer, metrics: Iterable[str] = (), tables: bool = False
) -> QuerySet[Value]:
    """Values that stand today, of adapters this person may know of.

    With `tables`, also results that came by a table where nothing measured stands.
    """
    values = Value.objects.current().counted(tables=tables).visible_to(viewer)
    keys = tuple(metrics)
    return values.filter(metric__in=keys) if keys else values


def counts_tables(said: str | None) -> bool:
    """Whether results from tables count: as a query says, ``in`` or ``out``, else as the site."""
    return said == "in" if said in ("in", "out") else bool(settings.COUNT_TABLES)


def _spoken(name: str) -> str:
    """A slug or the name of a column as words: ``prong face``."""
    return name.replace("-", " ").replace("_", " ")


def condition_in_words(condition: Condition) -> str:
    """A condition as a person reads it: ``230 V class mains, 20 V output``."""
    words = []
    if condition.line:
        words.append("230 V mains" if condition.line == "high" else "115 V mains")
    if condition.output_v is not None:
        words.append(f"{condition.output_v:g} V output")
    if condition.load:
        words.append(_LOADS.get(condition.load, f"at {condition.load}"))
    if condition.load_percent is not None:
        words.append(f"{condition.load_percent:g} % load")
    parts = (_spoken(condition.device), condition.port, _spoken(condition.sensor))
    words += [part for part in parts if part]
    return ", ".join(words) or "no condition"
