"""Which charges are laid over each other."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils import timezone

from catalog.models import Device, Viewer
from comparisons.charts.overlays import MOST_CURVES
from comparisons.forms.rankings import unknown_parameters
from comparisons.queries.charge_overlays import Axis
from comparisons.queries.charge_runs import (
    charges_named,
    further_charges,
    mains_of,
    moment_of,
    standing_charges,
)
from measurements.models import Run

_NO_ADAPTER = "“%(value)s” has no accepted charge of this device here."
_NO_RUN = (
    "“%(value)s” is no accepted charge of this device that is open to you; charges of another "
    "device are not laid over these."
)


class OverlayForm(forms.Form):
    """Charges of one device that are drawn, the reference, and the axis.

    An adapter stands for its standing charge, a run for itself. After validation `chosen` are
    the runs, the reference first, and `axis` is what the curves are drawn over. Without an
    adapter or run in the address nothing is chosen.
    """

    adapter = forms.MultipleChoiceField(
        label="Adapters",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": _NO_ADAPTER},
    )
    run = forms.MultipleChoiceField(
        label="Further runs",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": _NO_RUN},
    )
    reference = forms.ChoiceField(
        required=False,
        help_text="What the others are compared with; the first one chosen when left open.",
        error_messages={"invalid_choice": _NO_RUN},
    )
    by = forms.ChoiceField(
        label="Drawn over",
        required=False,
        choices=[("time", "time"), ("level", "battery level")],
    )

    def __init__(self, data: QueryDict, *, device: Device, viewer: Viewer) -> None:
        super().__init__(data, label_suffix="")
        self.device = device
        self.viewer = viewer
        self.standing = standing_charges(device, viewer=viewer)
        standing_ids = {run_id for _, run_id in self.standing.values()}
        asked = charges_named(device, _asked_runs(data), viewer=viewer)
        further = further_charges(device, besides=standing_ids, viewer=viewer)
        self.named = {str(run.pk): run for run in (*asked, *further)}
        adapters = [(slug, str(adapter)) for slug, (adapter, _) in self.standing.items()]
        runs = [(run_id, _words(run)) for run_id, run in self.named.items()]
        cast(forms.ChoiceField, self.fields["adapter"]).choices = adapters
        cast(forms.ChoiceField, self.fields["run"]).choices = runs
        cast(forms.ChoiceField, self.fields["reference"]).choices = [
            ("", "the first"),
            ("Adapters", adapters),
            ("Further runs", runs),
        ]
        self.chosen: list[UUID] = []
        self.axis: Axis = "time"

    def clean(self) -> dict[str, Any]:
        """Add the reference to the runs; refuse more curves than can be told apart."""
        cleaned = super().clean() or self.cleaned_data
        for sentence in unknown_parameters(cast(QueryDict, self.data), known=self.fields):
            self.add_error(None, sentence)
        names = [*(cleaned.get("adapter") or []), *(cleaned.get("run") or [])]
        if reference := cleaned.get("reference"):
            names.insert(0, reference)
        run_ids = list(dict.fromkeys(self._run_id(name) for name in names))
        if len(run_ids) > MOST_CURVES:
            raise ValidationError(
                {"adapter": f"Choose at most {MOST_CURVES} curves; these are {len(run_ids)}."}
            )
        self.chosen = run_ids
        self.axis = "level" if cleaned.get("by") == "level" else "time"
        return cleaned

    def _run_id(self, name: str) -> UUID:
        return self.standing[name][1] if name in self.standing else self.named[name].pk

    @property
    def has_runs_chosen(self) -> bool:
        """Whether runs were named beside adapters, so that their list opens."""
        return bool(self["run"].value())


def _asked_runs(data: QueryDict) -> list[UUID]:
    """The runs that an address names, as far as they are written as runs are."""
    found = []
    for text in (*data.getlist("run"), *data.getlist("reference"))[: 2 * MOST_CURVES]:
        try:
            found.append(UUID(text))
        except ValueError:
            continue
    return found


def _words(run: Run) -> str:
    """A run among others: adapter, unit, port, mains and day."""
    parts = [
        str(run.adapter),
        "" if run.unit.serial == "1" else f"unit {run.unit.serial}",
        run.port.label if run.port else "",
        mains_of(run),
        f"{timezone.localtime(moment_of(run)):%Y-%m-%d %H:%M}",
        "superseded" if run.standing == Run.Standing.SUPERSEDED else "",
    ]
    return ", ".join(part for part in parts if part)
