"""What file names say on this bench: the patterns in use, trying one out, adding, retiring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from measurements.intake.file_names import LONGEST_NAME, LONGEST_PATTERN, PatternError
from measurements.models import FileNamePattern
from measurements.queries.file_names import (
    Said,
    number_fields,
    parse_pattern,
    pattern_fields,
    understood,
)


class PatternForm(forms.Form):
    """A pattern, and a name to try it on."""

    pattern = forms.CharField(
        max_length=LONGEST_PATTERN,
        help_text="A file name with fields in braces, * for what says nothing; the ending may be "
        "left out. For example {adapter}_{kind}_{mains_v}V_{port}.",
    )
    name = forms.CharField(
        label="Try it on a name",
        max_length=LONGEST_NAME,
        required=False,
        help_text="One of your files; nothing is saved by trying.",
    )

    def clean_pattern(self) -> str:
        """The pattern, if it can be read in one way only and is not there yet."""
        text = str(self.cleaned_data["pattern"]).strip()
        try:
            parse_pattern(text)
        except PatternError as error:
            raise ValidationError(str(error)) from error
        return text


@dataclass(frozen=True, slots=True)
class Trial:
    """What a pattern makes of a name; `said` is None where the name is not of it."""

    name: str
    said: Said | None


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def file_names(request: HttpRequest) -> HttpResponse:
    """The patterns in use; a new one is tried and added here."""
    if request.method != "POST":
        initial = {"pattern": request.GET.get("name", ""), "name": request.GET.get("name", "")}
        return _page(request, form=PatternForm(initial=initial))
    form = PatternForm(request.POST)
    if not form.is_valid():
        return _page(request, form=form, status=400)
    text = form.cleaned_data["pattern"]
    if request.POST.get("do") != "add":
        return _page(request, form=form, trial=_trial(request, form))
    assert isinstance(request.user, User)
    try:
        with transaction.atomic():
            FileNamePattern.objects.create(pattern=text, made_by=request.user)
    except IntegrityError:  # also when two people, or two clicks, add it at the same moment
        form.add_error("pattern", "This pattern is in use already.")
        return _page(request, form=form, status=400)
    messages.success(request, f"File names are read by “{text}” from now on.")
    return redirect("file-names")


@login_required
@permission_required("measurements.receive_run", raise_exception=True)
@require_POST
def file_name_retire(request: HttpRequest, pk: int) -> HttpResponse:
    """Read no new file's name by a pattern."""
    retired = get_object_or_404(FileNamePattern.objects.in_use(), pk=pk)
    retired.retired_at = timezone.now()
    retired.save(update_fields=["retired_at"])
    messages.success(request, f"“{retired.pattern}” is out of use.")
    return redirect("file-names")


def _trial(request: HttpRequest, form: PatternForm) -> Trial | None:
    name: str = form.cleaned_data["name"]
    if not name:
        return None
    pattern = parse_pattern(form.cleaned_data["pattern"])
    found = pattern.read(name)
    said = None
    if found is not None:
        said = understood(found, pattern=pattern.text, viewer=request.user)
    return Trial(name, said)


def _page(
    request: HttpRequest, *, form: PatternForm, trial: Trial | None = None, status: int = 200
) -> HttpResponse:
    context: dict[str, Any] = {
        "section": "bench",
        "form": form,
        "trial": trial,
        "patterns": FileNamePattern.objects.in_use().select_related("made_by").order_by("pk"),
        "fields": sorted(pattern_fields() - number_fields()),
        "numbers": sorted(number_fields()),
    }
    return render(request, "measurements/file_names.html", context, status=status)
