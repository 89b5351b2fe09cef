"""Amendments in words, and the conditions of a run as an upload would say them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms

from catalog.models import Adapter, Viewer
from catalog.rest.fields import fault_of_plain
from catalog.rest.problems import Fault
from measurements.kinds import all_metrics
from measurements.kinds.base import Kind, Metric
from measurements.models import Amendment, Run, Value

_COMMON = {
    "adapter": ("adapter", ""),
    "unit": ("unit", ""),
    "measured_at": ("measured", ""),
    "mains_v": ("mains", "V"),
    "mains_hz": ("mains frequency", "Hz"),
    "ambient_c": ("ambient temperature", "°C"),
    "port": ("port", ""),
    "instruments": ("instruments", ""),
    "note": ("note", ""),
}


@dataclass(frozen=True, slots=True)
class Change:
    """One condition that an amendment changes, in words."""

    name: str
    title: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Told:
    """An amendment as somebody may read it, and the values that stood until then.

    The slug of an adapter that the reader may not know of is None.
    """

    amendment: Amendment
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    changes: tuple[Change, ...]
    stood: tuple[tuple[Metric, Value], ...] = ()


def changes_between(
    kind: Kind, before: Mapping[str, Any], after: Mapping[str, Any]
) -> tuple[Change, ...]:
    """What differs between two sets of conditions, as `Run.conditions` names them."""
    named = {
        **{field.name: (field.title, field.unit) for field in kind.fields},
        **_COMMON,
    }
    found = []
    for name in {**before, **after}:
        old, new = before.get(name), after.get(name)
        if old != new:
            title, unit = named.get(name, (name, ""))
            change = Change(name, title, _in_words(name, old, unit), _in_words(name, new, unit))
            found.append(change)
    return tuple(found)


def _in_words(name: str, value: Any, unit: str) -> str:
    if value is None and name == "adapter":
        return "an adapter that is not shown here"
    if value is None or value in ("", []):
        return "not stated"
    if isinstance(value, float | int):
        return f"{value:.12g} {unit}".strip()
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        return ", ".join(value)
    if name == "measured_at":
        return f"{datetime.fromisoformat(value):%Y-%m-%d %H:%M:%S} UTC"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def amendments_told(run: Run, *, viewer: Viewer) -> tuple[Told, ...]:
    """The amendments of a run, oldest first. No query for a run that never was amended.

    Of an adapter that the viewer may not know of nothing is told: neither its name, its units,
    ports and values, nor what was amended while the run was said to be of it. Call with the
    run's events fetched.
    """
    if not any(event.what == "amended" for event in run.events.all()):
        return ()
    rows = list(run.amendments.select_related("by").order_by("at", "pk"))
    slugs = {run.adapter.slug, *(row.before["adapter"] for row in rows if "adapter" in row.before)}
    visible = Adapter.objects.visible_to(viewer).filter(slug__in=slugs)
    shown = set(visible.values_list("slug", flat=True))
    stood = _stood(run, rows, viewer=viewer)
    told = []
    adapter = run.adapter.slug
    for row in reversed(rows):
        after_is_shown = adapter in shown
        adapter = row.before.get("adapter", adapter)
        before_is_shown = adapter in shown
        if not (before_is_shown or after_is_shown):
            continue
        before = row.before if before_is_shown else _masked(row.before)
        after = row.after if after_is_shown else _masked(row.after)
        changes = changes_between(run.declared_kind, before, after)
        told.append(Told(row, before, after, changes, tuple(stood.get(row.at, ()))))
    return tuple(reversed(told))


def _stood(
    run: Run, rows: Iterable[Amendment], *, viewer: Viewer
) -> dict[datetime, list[tuple[Metric, Value]]]:
    """Moment of an amendment → the values that it closed."""
    declared = all_metrics()
    found: dict[datetime, list[tuple[Metric, Value]]] = {}
    values = Value.objects.visible_to(viewer).filter(
        run=run, current_from__isnull=False, current_until__in={row.at for row in rows}
    )
    for value in values.order_by("pk"):
        if value.current_until is not None and value.metric in declared:
            found.setdefault(value.current_until, []).append((declared[value.metric], value))
    return found


def _masked(state: Mapping[str, Any]) -> dict[str, Any]:
    """Without what tells of the adapter."""
    own = ("adapter", "unit", "port")
    return {name: None if name in own else value for name, value in state.items()}


def as_uploaded(run: Run) -> dict[str, Any]:
    """The run's conditions as the texts of an upload form; what is not stated is left out."""
    texts: dict[str, Any] = {}
    as_json = {field.name for field in run.declared_kind.fields if field.type == "json"}
    for name, value in run.conditions.items():
        if value is None or value in ("", []):
            continue
        if name == "instruments":
            texts[name] = value
        elif name in as_json:
            texts[name] = json.dumps(value, ensure_ascii=False)
        elif isinstance(value, float | int):
            texts[name] = repr(value).removesuffix(".0")
        else:
            texts[name] = str(value)
    return texts


def texts_of_changes(
    changes: Mapping[str, Any], *, fields: Mapping[str, forms.Field]
) -> tuple[dict[str, Any], list[Fault]]:
    """Changes as JSON values → texts for a form with these fields, and what is wrong with them.

    Null stands for a field that is taken back.
    """
    texts: dict[str, Any] = {}
    faults = []
    known = ", ".join(sorted({*fields} - {"kind"}))
    for name, value in changes.items():
        if name in ("kind", "file"):
            fault = "This stays; withdraw the run and hand its file in again."
        elif name not in fields:
            fault = f"There is no field of this name. Known: {known}."
        elif not (fault := fault_of_plain(value)):
            fault, texts[name] = _text_of(value, fields[name])
        if fault:
            faults.append(Fault(name[:80], fault))
    return texts, faults


def _text_of(value: Any, field: forms.Field) -> tuple[str, Any]:
    """What is wrong with a JSON value for this field, and the text that it stands for."""
    if isinstance(field, forms.ModelMultipleChoiceField):
        names = [] if value is None else value
        is_names = isinstance(names, list) and all(isinstance(item, str) for item in names)
        return ("", names) if is_names else ("Write a list of names.", "")
    if value is None:
        return "", ""
    if isinstance(field, forms.JSONField):
        return "", json.dumps(value, ensure_ascii=False)
    if isinstance(field, forms.FloatField):
        return _number_of(value)
    return ("", value) if isinstance(value, str) else ("Write a text in quotation marks.", "")


def _number_of(value: Any) -> tuple[str, str]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "Write a number, without quotation marks.", ""
    try:
        return "", repr(float(value))
    except OverflowError:
        return "This number is too large.", ""
