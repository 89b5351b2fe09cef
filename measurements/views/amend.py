"""Correcting what was said about a run's file: form, what would change, done."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalog.models import Device
from measurements import queries
from measurements.actions import Refused, amend_run
from measurements.amendments import Change, as_uploaded, changes_between
from measurements.forms import RunForm
from measurements.models import Run


class ReasonForm(forms.Form):
    """Why a run is amended, and how many amendments the person knew of."""

    reason = forms.CharField(
        max_length=500,
        strip=True,
        help_text="Readers see this beside the run once it is accepted.",
        error_messages={"required": "Say why the run is amended; readers see the reason."},
    )
    seen = forms.IntegerField(min_value=0, widget=forms.HiddenInput)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def run_amend(request: HttpRequest, run_id: uuid.UUID) -> HttpResponse:
    """The present conditions to be corrected; what would change is shown before it is done."""
    shown = queries.run_page(run_id, viewer=request.user)
    if shown is None:
        raise Http404
    if not shown.may_be_amended_by(request.user):
        raise PermissionDenied
    if request.method != "POST":
        form = _form(request, shown=shown)
        reason = ReasonForm(initial={"seen": shown.amendments.count()})
        return _page(request, shown=shown, form=form, reason=reason)
    said = request.POST.copy()
    said["kind"] = shown.kind
    # Browsers send every line break as two characters.
    if said.get("note", "").splitlines() == shown.note.splitlines():
        said["note"] = shown.note
    form = _form(request, shown=shown, said=said)
    reason = ReasonForm(request.POST)
    if not all([form.is_valid(), reason.is_valid()]):
        return _page(request, shown=shown, form=form, reason=reason, status=400)
    wanted = form.facts().conditions
    changes = changes_between(shown.declared_kind, shown.conditions, wanted)
    mark = _mark(wanted)
    if changes and request.POST.get("confirmed") != mark:
        return _page(request, shown=shown, form=form, reason=reason, changes=changes, mark=mark)
    assert isinstance(request.user, User)
    try:
        amend_run(shown, form.facts(), by=request.user, **reason.cleaned_data)
    except Refused as error:
        form.add_error(None, error.detail)
        return _page(request, shown=shown, form=form, reason=reason, status=409)
    messages.success(
        request, "Amended: the run is computed under its corrected conditions, then judged anew."
    )
    return redirect(shown)


def _form(request: HttpRequest, *, shown: Run, said: Mapping[str, Any] | None = None) -> RunForm:
    """The form of the run's kind, for a person who corrects it."""
    kind = shown.declared_kind
    form = RunForm(said, viewer=request.user, kind=kind.slug, initial=as_uploaded(shown))
    ports = ", ".join(port.label for port in shown.adapter.ports.order_by("position"))
    form.fields["port"].help_text = f"A label of the adapter, such as C1. {shown.adapter}: {ports}."
    for field in kind.fields:
        if field.type == "device":
            known = Device.objects.order_by("name").values_list("slug", "name")
            form.fields[field.name].widget = forms.Select(choices=[("", "choose"), *known])
    instruments = form.fields["instruments"]
    assert isinstance(instruments, forms.ModelMultipleChoiceField)
    assert instruments.queryset is not None
    # What is named already is offered too, or saving would take it away unseen.
    instruments.queryset = (
        instruments.queryset.filter(quantity__in=kind.quantities)
        | instruments.queryset.filter(runs=shown)
    ).distinct()
    return form


def _mark(conditions: Mapping[str, Any]) -> str:
    """What the button of a preview carries, so that only what was shown is done."""
    return hashlib.sha256(json.dumps(conditions, sort_keys=True).encode()).hexdigest()


def _page(
    request: HttpRequest,
    *,
    shown: Run,
    form: RunForm,
    reason: ReasonForm,
    changes: tuple[Change, ...] = (),
    mark: str = "",
    status: int = 200,
) -> HttpResponse:
    kind = shown.declared_kind
    context = {
        "section": "bench",
        "run": shown,
        "kind": kind,
        "form": form,
        "reason": reason,
        "changes": changes,
        "mark": mark,
        "method_fields": [form[field.name] for field in kind.fields],
    }
    return render(request, "measurements/run_amend.html", context, status=status)
