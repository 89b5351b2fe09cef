"""The list of runs, a run's page, and what editors do to a run."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from catalog.models import Viewer
from measurements import queries
from measurements.actions import Refused, accept_run, withdraw_run
from measurements.amendments import amendments_told
from measurements.forms import RunFilterForm, WithdrawForm
from measurements.kinds import all_metrics
from measurements.kinds.base import Metric
from measurements.models import Run, Value, Verdict
from measurements.queries.attachments import attached_to
from measurements.standards.sources import SOURCES, Source
from measurements.views.figures import Addresses, Figure, figure
from measurements.views.files import trace_columns

PAGE_SIZE = 50


@dataclass(frozen=True, slots=True)
class Line:
    """A value of the run, beside the one that stands today under the same condition.

    `is_replaced` where the run is accepted and this value of it stands no longer.
    """

    value: Value
    standing: Value | None
    is_replaced: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """All values of one metric, and where its definition comes from."""

    metric: Metric
    source: Source
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and the metric that it is about."""

    verdict: Verdict
    metric: Metric


@require_safe
def run_list(request: HttpRequest) -> HttpResponse:
    """Runs, newest first, fifty a page."""
    form = RunFilterForm(request.GET, viewer=request.user)
    page = None
    if form.is_valid():
        listed = form.narrow(queries.runs_listed(viewer=request.user))
        page = form.page_of(listed, size=PAGE_SIZE)
    context = {
        "section": "bench",
        "form": form,
        "page": page,
        "queue": queries.queue_report(),
    }
    return render(
        request, "measurements/run_list.html", context, status=200 if page is not None else 400
    )


@require_safe
def run(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """All that is known of a run: conditions, file, values, verdicts, history."""
    return _page(request, shown=_visible(request, run_id), withdrawal=WithdrawForm())


@login_required
@require_POST
def run_accept(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """Let a run's values stand."""
    shown = _visible(request, run_id)
    try:
        accept_run(shown, by=_person(request))
    except PermissionError as error:
        raise PermissionDenied from error
    except Refused as error:
        messages.error(request, error.detail)
    else:
        messages.success(request, "Accepted: the values of this run stand now.")
    return redirect(shown)


@login_required
@require_POST
def run_withdraw(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """Take a run back, with the reason."""
    shown = _visible(request, run_id)
    if not shown.may_be_judged_by(request.user):
        raise PermissionDenied
    form = WithdrawForm(request.POST)
    if not form.is_valid():
        return _page(request, shown=shown, withdrawal=form, status=400)
    try:
        withdraw_run(shown, reason=form.cleaned_data["reason"], by=_person(request))
    except Refused as error:
        messages.error(request, error.detail)
    else:
        messages.success(request, "Withdrawn: its values stand no longer. The file is kept.")
    return redirect(shown)


def _visible(request: HttpRequest, run_id: uuid.UUID) -> Run:
    found = queries.run_page(run_id, viewer=request.user)
    if found is None:
        raise Http404
    return found


def _person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def _page(
    request: HttpRequest, *, shown: Run, withdrawal: WithdrawForm, status: int = 200
) -> HttpResponse:
    declared = all_metrics()
    is_ready = shown.state == Run.State.READY
    may_judge = shown.may_be_judged_by(request.user)
    drawing = _figure(request, shown)
    context: dict[str, Any] = {
        "section": "bench",
        "run": shown,
        "kind": shown.declared_kind,
        "words": _state_in_words(shown),
        "results": _results(shown, viewer=request.user) if is_ready else [],
        "compares": is_ready and shown.standing == Run.Standing.PROVISIONAL,
        "judgements": [
            Judgement(verdict, declared[verdict.quantity])
            for verdict in shown.verdicts.all()
            if verdict.quantity in declared
        ],
        "method_fields": _method_fields(shown),
        "withdrawal": withdrawal,
        "may_accept": may_judge and is_ready and shown.standing == Run.Standing.PROVISIONAL,
        "may_withdraw": may_judge
        and shown.is_finished
        and shown.standing != Run.Standing.WITHDRAWN,
        "may_amend": shown.may_be_amended_by(request.user)
        and shown.standing in (Run.Standing.PROVISIONAL, Run.Standing.ACCEPTED),
        "amendments": amendments_told(shown, viewer=request.user),
        "attached": attached_to(shown, viewer=request.user),
        "figure": drawing,
    }
    if drawing is not None and drawing.error:
        status = 400
    return render(request, "measurements/run.html", context, status=status)


def _figure(request: HttpRequest, shown: Run) -> Figure | None:
    if shown.plot is None or shown.trace is None:
        return None
    svg, png, csv = (
        reverse(name, args=[shown.pk]) for name in ("run-chart", "run-chart-png", "run-trace-csv")
    )
    return figure(
        request.GET,
        shown.plot,
        shown.trace,
        addresses=Addresses(svg, png, csv),
        columns=trace_columns(shown),
    )


def _state_in_words(shown: Run) -> str:
    if shown.state == Run.State.COMPUTING and shown.step:
        return f"{shown.get_state_display()}: {shown.step}"
    return shown.get_state_display()


def _results(shown: Run, *, viewer: Viewer) -> list[Result]:
    """The run's values by metric, in the order of declaration."""
    values = queries.values_of(shown)
    is_accepted = shown.standing == Run.Standing.ACCEPTED
    replaced = {value for value in values if is_accepted and not queries.stands(value)}
    standing = _standing(shown, values=replaced if is_accepted else values, viewer=viewer)
    by_metric: dict[str, list[Line]] = {}
    for value in values:
        beside = standing.get((value.metric, value.condition_key))
        line = Line(value, beside, is_replaced=value in replaced)
        by_metric.setdefault(value.metric, []).append(line)
    return [
        Result(metric, SOURCES[metric.source], tuple(by_metric[metric.key]))
        for metric in queries.metrics_listed()
        if metric.key in by_metric
    ]


def _standing(
    shown: Run, *, values: Collection[Value], viewer: Viewer
) -> dict[tuple[str, str], Value]:
    """What stands today under the conditions of `values`; nothing for a run that is over."""
    if not values or shown.standing not in (Run.Standing.PROVISIONAL, Run.Standing.ACCEPTED):
        return {}
    found = queries.current_values(viewer=viewer, metrics={value.metric for value in values})
    # A comparable value comes last and is the one shown.
    rows = found.filter(adapter=shown.adapter_id).order_by("-apart", "pk")
    return {(row.metric, row.condition_key): row for row in rows}


def _method_fields(shown: Run) -> Sequence[tuple[str, Any]]:
    titles = {field.name: field for field in shown.declared_kind.fields}
    return [
        (
            f"{titles[name].title}, {titles[name].unit}"
            if titles[name].unit
            else titles[name].title,
            value,
        )
        for name, value in shown.method_fields.items()
        if name in titles
    ]
