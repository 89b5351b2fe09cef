"""Runs, values, metrics and instruments as the API reads and writes them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from rest_framework import serializers

from catalog.rest.fields import Body, NumberField, TextField, WordField, utc_text
from measurements.amendments import Told
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.models import Instrument, Run, Source, Value, Verdict
from measurements.queries import PortCapability, method_of, stands, values_of
from measurements.standards.sources import SOURCES


class InstrumentBody(Body):
    """An instrument: accuracy ±(`reading_percent` % + `fixed`), `fixed` in its quantity's unit."""

    name = TextField(max_length=100)
    quantity = WordField(choices=Instrument.Quantity.choices)
    reading_percent = NumberField(minimum=0, maximum=100)
    fixed = NumberField(minimum=0, maximum=1_000_000)
    calibrated_on = serializers.DateField(allow_null=True, required=False)
    calibration_due = serializers.DateField(allow_null=True, required=False)

    def validate_name(self, name: str) -> str:
        """Runs name their instruments, so a name stands for one."""
        if Instrument.objects.filter(name=name).exists():
            raise serializers.ValidationError("An instrument of this name is written down already.")
        return name


class WithdrawBody(Body):
    """Why a run is withdrawn; readers see it."""

    reason = TextField(max_length=500)


class AmendBody(Body):
    """What is corrected of a run's conditions, by the names of an upload, and why."""

    reason = TextField(max_length=500)
    changes = serializers.DictField(
        allow_empty=False, error_messages={"empty": "Name at least one field to change."}
    )


class EmptyBody(Body):
    """A call that needs no body, and takes none with fields."""


def instrument_json(instrument: Instrument) -> dict[str, Any]:
    """An instrument and its stated accuracy."""
    calibrated, due = instrument.calibrated_on, instrument.calibration_due
    return {
        "name": instrument.name,
        "quantity": instrument.quantity,
        "reading_percent": instrument.reading_percent,
        "fixed": instrument.fixed,
        "calibrated_on": calibrated.isoformat() if calibrated else None,
        "calibration_due": due.isoformat() if due else None,
    }


def metric_json(metric: Metric) -> dict[str, Any]:
    """A metric's declaration; `method` is the version that computes it today."""
    source = SOURCES[metric.source]
    return {
        "key": metric.key,
        "title": metric.title,
        "unit": metric.unit,
        "better": metric.better,
        "ranked": metric.ranked and bool(metric.better),
        "condition": list(metric.condition),
        "definition": metric.definition,
        "formula": metric.formula,
        "source": f"{source.title}; {source.edition}",
        "source_key": source.key,
        "method": method_of(metric.key),
        "decimals": metric.decimals,
    }


def unit_of(metric: str) -> str:
    """The unit of a metric; "" for one whose kind was taken out of the site."""
    declared = all_metrics().get(metric)
    return declared.unit if declared else ""


def measured_json(value: Value) -> dict[str, Any]:
    """A computed value as its run lists it; `not_comparable` is the reason, or null."""
    return {
        "metric": value.metric,
        "value": value.value,
        "unit": unit_of(value.metric),
        "standard_uncertainty": value.stated_uncertainty,
        "condition": value.condition.as_json(),
        "method": value.method,
        "not_comparable": value.apart or None,
    }


def value_json(value: Value) -> dict[str, Any]:
    """A value that stands, with the adapter and the run it came from."""
    return {
        "adapter": value.adapter.slug,
        **measured_json(value),
        "run": str(value.run_id) if value.run_id else None,
        **source_json(value.source, value.table_id),
        "current_from": _time(value.current_from),
    }


def source_json(source: Source, table_id: UUID | None) -> dict[str, Any]:
    """Where a value comes from: ``run``, ``catalogue`` or ``table``, and which table."""
    return {"source": source, "table": str(table_id) if table_id else None}


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """A value against a published limit; U is at k = 2."""
    return {
        "scheme": verdict.scheme,
        "clause": verdict.clause,
        "quantity": verdict.quantity,
        "condition": verdict.condition,
        "limit": verdict.limit,
        "sense": verdict.sense,
        "value": verdict.value,
        "expanded_uncertainty": verdict.expanded_uncertainty,
        "margin": verdict.margin,
        "outcome": verdict.outcome,
        "deviations": verdict.deviations,
    }


def _time(moment: datetime | None) -> str | None:
    return utc_text(moment) if moment else None


def port_json(capability: PortCapability) -> dict[str, Any]:
    """A port with what it advertises; `run` is the scan, or null."""
    port = capability.port
    return {
        "label": port.label,
        "connector": port.connector,
        "rated_power_w": port.rated_power_w,
        "objects": [item.as_json() for item in capability.objects],
        "protocols": sorted(capability.protocols),
        "findings": [item.as_json() for item in capability.findings],
        "run": str(capability.run_id) if capability.run_id else None,
    }


def run_summary(run: Run) -> dict[str, Any]:
    """A run as lists and receipts show it."""
    return {
        "id": str(run.pk),
        "adapter": run.adapter.slug,
        "kind": run.kind,
        "state": run.state,
        "standing": run.standing,
        "raw_sha256": run.raw_id,
        "file_name": run.file_name,
        "unit": run.unit.serial,
        "line": run.line,
        "received_at": _time(run.received_at),
    }


def amendment_json(told: Told) -> dict[str, Any]:
    """An amendment; `before` and `after` hold what changed, by the names of an upload.

    An adapter that the reader may not know of is null.
    """
    row = told.amendment
    return {
        "at": _time(row.at),
        "by": row.by.get_username() if row.by else None,
        "reason": row.reason,
        "before": told.before,
        "after": told.after,
    }


def run_json(run: Run, *, amendments: Iterable[Told]) -> dict[str, Any]:
    """A run with everything that came of it; `run` is as `queries.run_page` gives it.

    A value is `current` while readers are shown it: not before acceptance, and not after
    another run replaced it.
    """
    superseded_by = run.superseded_by_id
    return {
        **run_summary(run),
        "step": run.step,
        "error": run.error,
        "mains_v": run.mains_v,
        "mains_hz": run.mains_hz,
        "ambient_c": run.ambient_c,
        "port": run.port.label if run.port else None,
        "instruments": sorted(item.name for item in run.instruments.all()),
        "fields": run.method_fields,
        "note": run.note,
        "measured_at": _time(run.measured_at),
        "computed_at": _time(run.computed_at),
        "accepted_at": _time(run.accepted_at),
        "withdrawn_at": _time(run.withdrawn_at),
        "withdrawn_reason": run.withdrawn_reason,
        "superseded_by": str(superseded_by) if superseded_by else None,
        "amendments": [amendment_json(told) for told in amendments],
        "reading_notes": run.reading_notes,
        "flags": [
            {"code": flag.code, "severity": flag.severity, "detail": flag.detail}
            for flag in sorted(run.flags.all(), key=lambda flag: flag.pk)
        ],
        "problems": run.problems,
        "problem_count": run.problem_count,
        "details": run.details,
        "metrics": [{**measured_json(value), "current": stands(value)} for value in values_of(run)],
        "verdicts": [
            verdict_json(verdict)
            for verdict in sorted(run.verdicts.all(), key=lambda verdict: verdict.pk)
        ],
    }
