"""The trail of writes, for those who answer for the site."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from django import forms
from django.contrib.auth.decorators import login_required, permission_required
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from catalog.forms import FilterForm
from catalog.models import Write

PAGE_SIZE = 100


class TrailFilterForm(FilterForm):
    """Which writes are listed."""

    page = None  # type: ignore[assignment]  # rows are added all the time: paged by key
    who = forms.CharField(label="Account", required=False, max_length=150)
    door = forms.ChoiceField(choices=[("", "any"), *Write.Door.choices], required=False)
    path = forms.CharField(label="Address holds", required=False, max_length=300)
    day = forms.DateField(
        label="Day, UTC",
        required=False,
        widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
    )
    before = forms.IntegerField(
        required=False, min_value=1, max_value=2**63 - 1, widget=forms.HiddenInput
    )

    def clean_who(self) -> User | None:
        """The account that is named. Raises `ValidationError` where there is none."""
        name: str = self.cleaned_data["who"]
        found = User.objects.filter(username=name).first() if name else None
        if name and found is None:
            raise ValidationError(f"No account is called “{name}” here.")
        return found

    @property
    def is_narrowed(self) -> bool:
        """Whether anything but the page is asked for."""
        return any(self.data.get(name) for name in ("who", "door", "path", "day"))

    def narrow(self, writes: QuerySet[Write]) -> QuerySet[Write]:
        """Those of `writes` that the filters let through; only after `is_valid()`."""
        said = self.cleaned_data
        if said["who"]:
            writes = writes.filter(user=said["who"])
        if said["door"]:
            writes = writes.filter(door=said["door"])
        if said["path"]:
            writes = writes.filter(path__icontains=said["path"])
        if said["day"]:
            begins = datetime.combine(said["day"], time.min, UTC)
            # Added in a way that the last day of the calendar survives.
            writes = writes.filter(
                at__gte=begins, at__lte=begins + timedelta(days=1, microseconds=-1)
            )
        if said["before"]:
            writes = writes.filter(pk__lt=said["before"])
        return writes


@never_cache
@login_required
@permission_required("catalog.view_write", raise_exception=True)
@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    """Who wrote what over which door, newest first, a hundred a page."""
    form = TrailFilterForm(request.GET)
    writes: list[Write] | None = None
    older = None
    if form.is_valid():
        rows = form.narrow(Write.objects.select_related("user").defer("answer").order_by("-pk"))
        writes = list(rows[: PAGE_SIZE + 1])
        if len(writes) > PAGE_SIZE:
            writes.pop()
            older = writes[-1].pk
    context = {"section": "account", "form": form, "writes": writes, "older": older}
    return render(request, "brickledger/trail.html", context, status=400 if writes is None else 200)
