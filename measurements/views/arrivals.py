"""Files that arrived: the list of those that wait, and the page on which one is described."""

from __future__ import annotations

import csv
import io
import uuid
from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_safe

from catalog.models import Adapter, Device
from measurements.actions import Refused
from measurements.forms import RunForm, kind_choices
from measurements.intake.column_maps import ColumnMap
from measurements.kinds.base import Kind
from measurements.models import Arrival, Run
from measurements.queries import run_page
from measurements.queries.earlier import prospects
from measurements.queries.file_names import said_by_name
from measurements.reception import (
    asked_of,
    describe,
    hand_in,
    put_away,
    ring_arrival,
)
from measurements.reception.choices import (
    choice_from,
    column_choices,
    heading_rows,
    unit_choices,
)
from measurements.reception.fields import ask_openly, said_anew
from measurements.reception.handing_in import name_for, settled_map
from measurements.reception.problem_lists import every_problem
from measurements.reception.questions import Asked, is_unreadable, kind_of, warnings_of

PAGE_SIZE = 100
RING_AGAIN_S = 15


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def arrivals(request: HttpRequest) -> HttpResponse:
    """The files that wait; those that need no question can be handed in together."""
    assert isinstance(request.user, User)
    waiting = (
        Arrival.objects.waiting()
        .of(request.user)
        .select_related("by", "raw")
        .order_by("-arrived_at")[:PAGE_SIZE]
    )
    asked = [asked_of(arrival) for arrival in waiting]
    all_waiting = Arrival.objects.waiting().of(request.user).count()
    if request.method == "POST":
        wanted = set(request.POST.getlist("arrival"))
        return _hand_in_all([item for item in asked if str(item.arrival.pk) in wanted], request)
    for item in asked:
        _ring_if_silent(item.arrival)
    context = {
        "section": "bench",
        "asked": asked,
        "older": all_waiting - len(asked),
        "ready": sum(item.is_ready for item in asked),
        "is_reading": any(not item.arrival.is_read for item in asked),
        "words": f"{sum(item.arrival.is_read for item in asked)} of {len(asked)} read",
    }
    return render(request, "measurements/arrival_list.html", context)


def _hand_in_all(chosen: list[Asked], request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    made, there = 0, 0
    for item in chosen:
        try:
            if not item.is_ready:
                raise Refused(item.needs[0])
            received = hand_in(item.arrival, item.form.facts(), by=request.user)
        except Refused as error:
            messages.error(request, f"“{item.arrival.file_name}” was not handed in: {error.detail}")
        else:
            made, there = made + received.created, there + (not received.created)
    if made:
        messages.success(request, f"Handed in: {made} run{'' if made == 1 else 's'}.")
    if there:
        messages.info(request, f"Already here, no second run was made: {there}.")
    if not chosen:
        messages.error(request, "Choose at least one file.")
    return redirect("arrivals")


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def arrival(request: HttpRequest, arrival_id: uuid.UUID) -> HttpResponse:
    """What was read of one file, what it is taken for, what would come of it; and the choice."""
    shown = _visible(request, arrival_id)
    if shown.run is not None:
        return redirect(shown.run)
    if request.method == "POST":
        return _answer(request, shown)
    if shown.is_waiting:
        _ring_if_silent(shown)
    return _page(request, shown)


def _answer(request: HttpRequest, shown: Arrival) -> HttpResponse:
    done = request.POST.get("do", "look")
    try:
        if done == "put-away":
            put_away(shown)
            messages.success(request, f"“{shown.file_name}” was put away; its bytes are kept.")
            return redirect("arrivals")
        return _described(request, shown, done=done)
    except Refused as error:
        shown = _visible(request, shown.pk)
        if not shown.is_waiting:
            messages.error(request, error.detail)
            return redirect("arrivals")
        return _page(request, shown, refusal=error, status=400)


def _described(request: HttpRequest, shown: Arrival, *, done: str) -> HttpResponse:
    """Write down what was said; hand the file in if that was asked and changes nothing."""
    said = said_anew(shown.said, request.POST)
    form = RunForm({**said, "kind": str(said.get("kind", ""))}, viewer=request.user)
    chosen, faults = _chosen(request, shown, form=form, is_forgotten=done == "forget")
    if faults or _is_wrong(form, said):
        return _page(request, shown, form=form, faults=faults, status=400)
    was = shown.revision
    shown = describe(shown, said=said, chosen=chosen)
    if done != "hand-in" or shown.revision != was:
        if done == "hand-in":
            messages.info(
                request,
                "What you said changes what comes of the file: look at it once more, then hand it "
                "in.",
            )
        return redirect(shown)
    if not form.is_valid():
        return _page(request, shown, form=form, status=400)
    return _handed_in(request, shown, form=form)


def _chosen(
    request: HttpRequest, shown: Arrival, *, form: RunForm, is_forgotten: bool
) -> tuple[ColumnMap | None, dict[int, str]]:
    """How the columns are to be read, by the page; a choice made for another kind is dropped."""
    if not shown.is_read and not is_forgotten and shown.chosen:
        # The same answer sent twice: the first one stands until it was looked at.
        return ColumnMap.from_json(shown.chosen), {}
    evidence = (shown.found or {}).get("evidence") if shown.is_read else None
    is_same_kind = form.declared is not None and form.declared.slug == kind_of(shown)
    if is_forgotten or evidence is None or form.declared is None or not is_same_kind:
        return None, {}
    return choice_from(
        request.POST, evidence=evidence, kind=form.declared, is_guess=not shown.chosen
    )


def _text(request: HttpRequest, name: str, *, longest: int = 500) -> str:
    """A line of text from the page, without what no database takes."""
    return request.POST.get(name, "").replace("\0", "")[:longest]


def _handed_in(request: HttpRequest, shown: Arrival, *, form: RunForm) -> HttpResponse:
    assert isinstance(request.user, User)
    received = hand_in(
        shown,
        form.facts(),
        by=request.user,
        map_name=_text(request, "map_name"),
        reason=_text(request, "reason"),
    )
    if received.created:
        messages.success(request, "Received: the file is kept and will be computed.")
    else:
        messages.info(
            request,
            "This file is already here for the same adapter, kind and conditions; this is its "
            "run. No second one was made.",
        )
    return redirect(received.run)


def _is_wrong(form: RunForm, said: Mapping[str, Any]) -> bool:
    """Whether something that was said is wrong; what was not said yet may still come."""
    return any(name in said for name in form.errors)


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_safe
def arrival_problems(request: HttpRequest, arrival_id: uuid.UUID) -> HttpResponse:
    """Every problem of the file as CSV: row, column, what is wrong and what to do."""
    shown = _visible(request, arrival_id)
    return problems_csv(every_problem(shown), file_name=shown.file_name)


@require_safe
def run_problems(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """Every problem of a rejected run as CSV."""
    shown = run_page(run_id, viewer=request.user)
    if shown is None or shown.state != Run.State.REJECTED:
        raise Http404
    return problems_csv(every_problem(shown), file_name=shown.file_name)


def problems_csv(problems: list[dict[str, Any]], *, file_name: str) -> HttpResponse:
    """A list of problems for a spreadsheet."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["row", "column", "detail"])
    for item in problems:
        writer.writerow([item["row"], _plain(item["column"]), _plain(item["detail"])])
    answer = HttpResponse(text.getvalue(), content_type="text/csv; charset=utf-8")
    stem = "".join(sign if sign.isprintable() else "_" for sign in file_name)[:100]
    answer["Content-Disposition"] = str(content_disposition_header(True, f"{stem}-problems.csv"))
    return answer


def _plain(text: str | None) -> str | None:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if text and text[0] in "=+-@\t\r" else text


def _visible(request: HttpRequest, arrival_id: uuid.UUID) -> Arrival:
    found = (
        Arrival.objects.of(request.user)
        .select_related("by", "raw", "run")
        .filter(pk=arrival_id)
        .first()
    )
    if found is None:
        raise Http404
    return found


def _ring_if_silent(shown: Arrival) -> None:
    """Ring again for a file that nobody seems to be reading; losing a bell loses nothing."""
    if shown.is_read:
        return
    rung = shown.rung_at
    if rung is None or (timezone.now() - rung).total_seconds() > RING_AGAIN_S:
        ring_arrival(shown.pk)


def _page(
    request: HttpRequest,
    shown: Arrival,
    *,
    form: RunForm | None = None,
    faults: Mapping[int, str] | None = None,
    refusal: Refused | None = None,
    status: int = 200,
) -> HttpResponse:
    asked = asked_of(shown)
    kind = form.declared if form is not None and form.declared else asked.kind
    if form is None:
        slug = kind.slug if kind else ""
        form = RunForm(viewer=request.user, kind=slug, initial={**shown.said, "kind": slug})
    adapter = asked.form.cleaned_data.get("adapter") if asked.form.is_bound else None
    ask_openly(form, adapter="choose", kind="choose")
    if kind is not None:
        _narrow(form, kind=kind, adapter=adapter)
    found = shown.found if shown.is_read else None
    settled = settled_map(shown, kind=kind.slug) if found and kind else None
    if found and (found["evidence"] or {}).get("map_name") and not shown.chosen:
        settled = None
    context: dict[str, Any] = {
        "section": "bench",
        "arrival": shown,
        "asked": asked,
        "found": found,
        "form": form,
        "kind": kind,
        "adapter": adapter,
        "refusal": refusal,
        "words": "read" if shown.is_read else (shown.step or "waiting to be read"),
        "candidates": _candidates(found, beside=kind),
        "is_unreadable": is_unreadable(found),
        "by_name": said_by_name(shown.file_name, viewer=request.user),
        "warnings": warnings_of(found) if found else [],
        "reason": request.POST.get("reason", ""),
        "settled": settled,
        "map_name": request.POST.get("map_name", name_for(settled) if settled else ""),
        "method_fields": [form[item.name] for item in kind.fields] if kind else [],
    }
    if found and kind and found["kind"] == kind.slug:
        context.update(_understood(request, found, kind=kind, faults=faults or {}))
        if found["outcome"] and adapter is not None:
            context["prospects"] = prospects(
                found["outcome"]["values"],
                kind=kind,
                adapter=adapter,
                serial=asked.form.cleaned_data.get("unit") or "1",
                viewer=request.user,
            )
    return render(request, "measurements/arrival.html", context, status=status)


def _understood(
    request: HttpRequest, found: Mapping[str, Any], *, kind: Kind, faults: Mapping[int, str]
) -> dict[str, Any]:
    evidence = found["evidence"]
    if evidence is None:
        return {}
    return {
        "evidence": evidence,
        "headings": heading_rows(evidence, kind=kind),
        "faults": faults,
        "column_choices": column_choices(kind),
        "unit_choices": unit_choices(),
    }


def _candidates(found: Mapping[str, Any] | None, *, beside: Kind | None) -> list[str]:
    """The other kinds that the columns would make, as titles, where that is not sure."""
    if not found or not found["candidates"] or found["candidates"][0]["is_sure"]:
        return []
    titles = dict(kind_choices())
    return [
        titles[item["kind"]]
        for item in found["candidates"]
        if item["complete"] and not (beside and item["kind"] == beside.slug)
    ]


def _narrow(form: RunForm, *, kind: Kind, adapter: Adapter | None) -> None:
    """Let a person choose from what there is; programs send any text."""
    ports = list(adapter.ports.order_by("position")) if adapter else []
    if ports:
        form.fields["port"].widget = forms.Select(
            choices=[("", "not stated"), *((port.label, port.label) for port in ports)]
        )
        form.fields["port"].help_text = "The one that was loaded, where only one was."
    for field in kind.fields:
        if field.type == "device":
            known = Device.objects.listed().order_by("name").values_list("slug", "name")
            form.fields[field.name].widget = forms.Select(choices=[("", "choose"), *known])
    instruments = form.fields["instruments"]
    assert isinstance(instruments, forms.ModelMultipleChoiceField)
    assert instruments.queryset is not None
    instruments.queryset = instruments.queryset.filter(quantity__in=kind.quantities)
