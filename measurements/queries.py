"""Reading across models, for pages, API, charts and workers alike.

One function serves every surface, so that they cannot disagree.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db.models import Prefetch, QuerySet

from catalog.models import Adapter, LabelClaim, Port, Viewer
from measurements.intake.rawstore import RawStore
from measurements.kinds import all_metrics
from measurements.kinds.base import (
    Accuracy,
    AdapterFacts,
    AdvertisedOutput,
    Condition,
    Measured,
    Metric,
    PortFacts,
    Setup,
)
from measurements.kinds.physical import physical_values
from measurements.models import Flag, Run, RunEvent, Value, Verdict


def raw_store() -> RawStore:
    """The store of raw files that the settings name."""
    return RawStore(settings.RAW_DIR, limit=settings.MAX_UPLOAD_BYTES)


def method_of(metric: str) -> str:
    """The method version that computes a metric today."""
    return all_metrics()[metric].method


def metrics_listed() -> tuple[Metric, ...]:
    """Every metric that the site computes, in the order of declaration."""
    return tuple(all_metrics().values())


def run_to_compute(run_id: uuid.UUID) -> Run:
    """The run with all that its computation needs, in a fixed number of queries."""
    return (
        Run.objects.select_related("adapter", "port")
        .prefetch_related(
            "instruments",
            "adapter__ports",
            Prefetch("adapter__claims", LabelClaim.objects.select_related("port")),
        )
        .get(pk=run_id)
    )


def _port_facts(port: Port) -> PortFacts:
    return PortFacts(label=port.label, connector=port.connector, rated_power_w=port.rated_power_w)


def setup_of(run: Run) -> Setup:
    """The conditions of a run as the pure core takes them. No query after `run_to_compute`."""
    adapter = run.adapter
    return Setup(
        adapter=AdapterFacts(
            rated_power_w=adapter.rated_power_w,
            supply=adapter.supply,  # type: ignore[arg-type]  # the column's choices are the literal's
            enclosure=adapter.enclosure or Adapter.Enclosure.PLASTIC,
            ports=tuple(_port_facts(port) for port in adapter.ports.all()),
            advertised=tuple(
                AdvertisedOutput(
                    port=claim.port.label if claim.port else "",
                    voltage_v=claim.voltage_v,
                    current_a=claim.current_a,
                )
                for claim in adapter.claims.all()
                if claim.voltage_v is not None and claim.current_a is not None
            ),
        ),
        line=run.line,  # type: ignore[arg-type]  # a database constraint holds the literal
        mains_v=run.mains_v,
        mains_hz=run.mains_hz,
        ambient_c=run.ambient_c,
        port=_port_facts(run.port) if run.port else None,
        accuracies=tuple(
            Accuracy(item.name, item.quantity, item.reading_percent, item.fixed)
            for item in sorted(run.instruments.all(), key=lambda item: item.name)
        ),
        fields=run.method_fields,
    )


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


def run_page(run_id: uuid.UUID, *, viewer: Viewer) -> Run | None:
    """A run for its page or the API, with everything shown there; None if hidden."""
    return (
        Run.objects.visible_to(viewer)
        .select_related("adapter__maker", "unit", "port", "raw", "received_by", "superseded_by")
        .defer("trace")
        .prefetch_related(
            "instruments",
            Prefetch("flags", Flag.objects.order_by("pk")),
            Prefetch("verdicts", Verdict.objects.order_by("pk")),
            Prefetch("values", Value.objects.filter(current_until=None).order_by("pk")),
            Prefetch("events", RunEvent.objects.select_related("by").order_by("at", "pk")),
        )
        .filter(pk=run_id)
        .first()
    )


def values_of(run: Run) -> list[Value]:
    """The open values of a run; those of a superseded or withdrawn run as they last stood."""
    if run.standing in (Run.Standing.PROVISIONAL, Run.Standing.ACCEPTED):
        return list(run.values.filter(current_until=None).order_by("pk"))
    latest: dict[tuple[str, str], Value] = {}
    # Not run.values: after `run_page` that holds the open values alone.
    for value in Value.objects.filter(run=run).order_by("pk"):
        latest[value.metric, value.condition_key] = value
    return list(latest.values())


def runs_listed(*, viewer: Viewer) -> QuerySet[Run]:
    """Runs for a list, newest first, without their heavy columns."""
    return (
        Run.objects.visible_to(viewer)
        .select_related("adapter__maker", "unit", "port")
        .defer("trace", "plot", "problems", "reading_notes")
        .order_by("-id")
    )


@dataclass(frozen=True, slots=True)
class QueueReport:
    """How many runs wait, are in work, and were set aside."""

    waiting: int
    computing: int
    set_aside: int


def queue_report() -> QueueReport:
    """The state of the queue, from the database, which is the queue."""
    states = list(
        Run.objects.filter(
            state__in=[Run.State.RECEIVED, Run.State.COMPUTING, Run.State.SET_ASIDE]
        ).values_list("state", flat=True)
    )
    return QueueReport(
        waiting=states.count(Run.State.RECEIVED),
        computing=states.count(Run.State.COMPUTING),
        set_aside=states.count(Run.State.SET_ASIDE),
    )


def condition_in_words(condition: Condition) -> str:
    """A condition as a person reads it: ``230 V class mains, 20 V output``."""
    words = []
    if condition.line:
        words.append("230 V mains" if condition.line == "high" else "115 V mains")
    if condition.output_v is not None:
        words.append(f"{condition.output_v:g} V output")
    if condition.load:
        words.append("no load" if condition.load == "none" else "full load")
    if condition.load_percent is not None:
        words.append(f"{condition.load_percent:g} % load")
    words += [part for part in (condition.device, condition.port, condition.sensor) if part]
    return ", ".join(words) or "no condition"


def current_values(*, viewer: Viewer, metrics: Iterable[str] = ()) -> QuerySet[Value]:
    """Values that stand today, of adapters this person may know of."""
    values = Value.objects.current().visible_to(viewer)
    keys = tuple(metrics)
    return values.filter(metric__in=keys) if keys else values
