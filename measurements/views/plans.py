"""What a bench still has to measure of an adapter, and the sheet to fill in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from urllib.parse import urlencode

from django.contrib.auth.decorators import login_required, permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from catalog.models import Adapter, Viewer
from measurements import queries
from measurements.kinds.base import Kind
from measurements.management.sheets import file_name_of, sheet_of
from measurements.queries import Planned

WORKBOOK_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_UNITS = {"degC": "°C", "1": ""}
_NAMED_POINTS = 6


@dataclass(frozen=True, slots=True)
class Heading:
    """A column of the points: what it holds, its heading in the file, whether it is a number.

    `unit` is what stands behind a number.
    """

    title: str
    name: str
    is_number: bool
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Point:
    """A cell of the points; without `text` the bench fills it in."""

    text: str
    is_number: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """A planned run as the page shows it; `progress` says which points of it lack."""

    planned: Planned
    conditions: str
    headings: tuple[Heading, ...]
    rows: tuple[tuple[Point, ...], ...]
    upload: str
    progress: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """The planned runs of one method."""

    kind: Kind
    asked: tuple[Asked, ...]


@dataclass(frozen=True, slots=True)
class Summary:
    """How many planned runs are accepted, wait, are there in part, and are missing."""

    accepted: int
    waiting: int
    partly: int
    missing: int

    @property
    def total(self) -> int:
        """All of them."""
        return self.accepted + self.waiting + self.partly + self.missing


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_safe
def plan(request: HttpRequest, slug: str) -> HttpResponse:
    """Every planned run with its points, what is there already, and what is missing."""
    adapter = _adapter(slug, viewer=request.user)
    planned = queries.planned_runs(adapter, viewer=request.user)
    sections = _sections(adapter, planned)
    asked = [item for section in sections for item in section.asked]
    states = [item.state for item in planned]
    context = {
        "section": "adapters",
        "adapter": adapter,
        "sections": sections,
        "open": [item for item in asked if item.planned.state in ("missing", "partly")],
        "summary": Summary(
            accepted=states.count("accepted"),
            waiting=states.count("waiting"),
            partly=states.count("partly"),
            missing=states.count("missing"),
        ),
    }
    return render(request, "measurements/plan.html", context)


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_safe
def plan_sheet(request: HttpRequest, slug: str) -> HttpResponse:
    """The same points as a workbook to fill in."""
    adapter = _adapter(slug, viewer=request.user)
    answer = HttpResponse(sheet_of(adapter), content_type=WORKBOOK_TYPE)
    answer["Content-Disposition"] = f'attachment; filename="{file_name_of(adapter)}"'
    return answer


def _adapter(slug: str, *, viewer: Viewer) -> Adapter:
    found = (
        Adapter.objects.visible_to(viewer)
        .select_related("maker")
        .prefetch_related("ports", "claims__port")
        .filter(slug=slug)
        .first()
    )
    if found is None:
        raise Http404
    return found


def _sections(adapter: Adapter, planned: Iterable[Planned]) -> list[Section]:
    return [
        Section(items[0].kind, tuple(_asked(adapter, item) for item in items))
        for items in (list(group) for _, group in groupby(planned, lambda item: item.kind.slug))
    ]


def _asked(adapter: Adapter, planned: Planned) -> Asked:
    asked = planned.asked
    said = {name: value for name, value in asked.fields.items() if value != ""}
    headings = tuple(_heading(planned.kind, name) for name in asked.columns)
    return Asked(
        planned=planned,
        conditions=", ".join(_in_words(planned.kind, name, value) for name, value in said.items()),
        headings=headings,
        rows=tuple(
            tuple(
                Point(_shown(cell), heading.is_number)
                for cell, heading in zip(row, headings, strict=True)
            )
            for row in asked.rows
        ),
        upload=_upload(adapter, planned.kind, said),
        progress=_progress(planned, headings=headings) if planned.state == "partly" else "",
    )


def _progress(planned: Planned, *, headings: tuple[Heading, ...]) -> str:
    """How many points are there, and which are not: ``4 of 6 points; to measure: 20 V, 5 A``."""
    lacking = planned.lacking
    named = [
        ", ".join(
            f"{_shown(cell)}\u00a0{heading.unit}".rstrip()
            for cell, heading in zip(planned.asked.rows[place], headings, strict=True)
            if cell is not None
        )
        for place in lacking[:_NAMED_POINTS]
    ]
    more = len(lacking) - len(named)
    total = len(planned.asked.rows)
    return (
        f"{total - len(lacking)} of {total} points; to measure: {'; '.join(named)}"
        f"{f'; and {more} more' if more else ''}"
    )


def _upload(adapter: Adapter, kind: Kind, said: Mapping[str, str | float]) -> str:
    stated = {name: _shown(value) for name, value in said.items()}
    query = urlencode({"adapter": adapter.slug, "kind": kind.slug} | stated)
    return f"{reverse('run-new')}?{query}"


def _shown(value: str | float | None) -> str:
    return "" if value is None else value if isinstance(value, str) else f"{value:g}"


def _in_words(kind: Kind, name: str, value: str | float) -> str:
    shown = _shown(value)
    common = {
        "mains_v": f"mains {shown}\u00a0V",
        "mains_hz": f"{shown}\u00a0Hz",
        "ambient_c": f"ambient {shown}\u00a0°C",
        "port": f"port {shown}",
        "unit": f"unit {shown}",
    }
    if name in common:
        return common[name]
    field = next((item for item in kind.fields if item.name == name), None)
    if field is None:
        return f"{name} {shown}"
    return f"{field.title.lower()} {shown}\u00a0{field.unit}".rstrip()


def _heading(kind: Kind, name: str) -> Heading:
    for column in kind.columns:
        suffix = column.name[1:]
        if column.name == name or (column.is_family and name.endswith(suffix)):
            title = (
                name.removesuffix(suffix).replace("_", " ") if column.is_family else column.title
            )
            unit = _UNITS.get(column.unit, column.unit)
            is_number = column.type == "number"
            return Heading(f"{title}, {unit}" if unit else title, name, is_number, unit)
    return Heading(name, name, is_number=True)
