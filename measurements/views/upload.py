"""Handing in a run: adapter and kind, then conditions and file."""

from __future__ import annotations

import errno

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalog.models import Adapter, Device
from measurements.actions import receive_run
from measurements.forms import FileForm, RunForm
from measurements.intake.rawstore import TooLarge
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.base import Kind

DISK_FULL = (errno.ENOSPC, errno.EDQUOT)


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def run_new(request: HttpRequest) -> HttpResponse:
    """The form in two steps; the second takes the file."""
    said = request.POST if request.method == "POST" else request.GET
    first = RunForm(said, viewer=request.user) if said else RunForm(viewer=request.user)
    asked = "adapter" in said or "kind" in said
    wrong = asked and ("adapter" in first.errors or "kind" in first.errors)
    if not asked or wrong:
        return _first_step(request, form=first, status=400 if wrong else 200)
    adapter, kind = first.cleaned_data["adapter"], get_kind(first.cleaned_data["kind"])
    if request.method != "POST":
        initial = {"adapter": adapter.slug, "kind": kind.slug}
        form = RunForm(viewer=request.user, kind=kind.slug, initial=initial)
        # A plan links here with the conditions of a run that is still to be made.
        form.initial.update({name: said[name] for name in form.fields if name in said})
        return _second_step(request, form=form, file=FileForm(), adapter=adapter, kind=kind)
    form = RunForm(request.POST, viewer=request.user, kind=kind.slug)
    file = FileForm(request.POST, request.FILES)
    status = 400
    if all([form.is_valid(), file.is_valid()]):
        assert isinstance(request.user, User)
        sent = file.cleaned_data["file"]
        try:
            received = receive_run(
                form.facts(), chunks=sent.chunks(), file_name=sent.name, by=request.user
            )
        except TooLarge as error:
            file.add_error("file", str(error))
            status = 413
        except OSError as error:
            if error.errno not in DISK_FULL:
                raise
            file.add_error(
                "file",
                "The site’s disk is full, so nothing was kept. Tell whoever runs it, keep your "
                "file, and send it again later.",
            )
            status = 507
        else:
            if received.created:
                messages.success(request, "Received: the file is kept and will be computed.")
            else:
                messages.info(
                    request,
                    "This file is already here for the same adapter, kind and conditions; this "
                    "is its run. No second one was made.",
                )
            return redirect(received.run)
    return _second_step(request, form=form, file=file, adapter=adapter, kind=kind, status=status)


def _first_step(request: HttpRequest, *, form: RunForm, status: int) -> HttpResponse:
    context = {"section": "bench", "form": form, "kinds": all_kinds()}
    return render(request, "measurements/run_new.html", context, status=status)


def _second_step(
    request: HttpRequest,
    *,
    form: RunForm,
    file: FileForm,
    adapter: Adapter,
    kind: Kind,
    status: int = 200,
) -> HttpResponse:
    ports = list(adapter.ports.order_by("position"))
    # The form takes any text, because programs use it too; a person chooses from what there is.
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
    context = {
        "section": "bench",
        "form": form,
        "file": file,
        "adapter": adapter,
        "kind": kind,
        "method_fields": [form[field.name] for field in kind.fields],
    }
    return render(request, "measurements/run_new_file.html", context, status=status)
