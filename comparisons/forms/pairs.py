"""What a reader may ask of two metrics against each other."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from catalog.models import Viewer
from comparisons.forms.rankings import DatedForm, condition_choices
from comparisons.queries.cohorts import known_conditions
from comparisons.queries.pairs import AXES, Axis
from comparisons.queries.rankings import ranked_metrics
from measurements.kinds.base import Condition, Metric

# Size against heat: what is small has to get rid of its losses through little surface.
USUAL = {"x": "power-density", "y": "thermal-headroom"}


class PairForm(DatedForm):
    """Two metrics, each under a condition, and the filters of a ranking.

    Every field may be left out. After validation `axes` are the two, and `conditions` those
    chosen, None where a metric has no value at all.
    """

    x = forms.ChoiceField(label="Across", required=False)
    y = forms.ChoiceField(label="Up", required=False)
    x_condition = forms.CharField(label="Condition across", required=False, widget=forms.Select)
    y_condition = forms.CharField(label="Condition up", required=False, widget=forms.Select)

    field_order = ("as_of", "tables", "x", "y", "x_condition", "y_condition")

    def __init__(self, data: QueryDict, *, viewer: Viewer) -> None:
        asked = {name: str(data.get(name) or usual) for name, usual in USUAL.items()}
        data = data.copy()
        for name, key in asked.items():
            data[name] = key
        super().__init__(data, viewer=viewer)
        self.metrics: dict[str, Metric] = {}
        self.conditions: dict[str, Condition | None] = {}
        known = ranked_metrics()
        for name in AXES:
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [(key, metric.title) for key, metric in known.items()]
            self.metrics[name] = known.get(asked[name], known[USUAL[name]])

    def clean_x_condition(self) -> str:
        """A condition under which the metric across has values."""
        return self._chosen("x")

    def clean_y_condition(self) -> str:
        """A condition under which the metric up has values, if not that of the same metric."""
        asked = self._chosen("y")
        is_one_metric = self.metrics["x"] == self.metrics["y"]
        if is_one_metric and self.conditions.get("x") == self.conditions["y"]:
            raise ValidationError(
                "Choose two different metrics, or one metric under two conditions."
            )
        return asked

    def _chosen(self, name: str) -> str:
        known = known_conditions(
            self.metrics[name], viewer=self.viewer, as_of=self.moment, tables=self.counts
        )
        widget = self.fields[f"{name}_condition"].widget
        assert isinstance(widget, forms.Select)
        widget.choices = [("", "the plainest"), *condition_choices(known)]
        asked: str = self.cleaned_data[f"{name}_condition"]
        self.conditions[name] = self.chosen_among(known, asked=asked)
        return asked

    @property
    def axes(self) -> tuple[Axis, Axis] | None:
        """The two metrics with their conditions; None where one has no value at all."""
        x, y = self.conditions["x"], self.conditions["y"]
        if x is None or y is None:
            return None
        return Axis(self.metrics["x"], x), Axis(self.metrics["y"], y)

    @property
    def permanent_query(self) -> str:
        """The same view as a query that names its day, metrics, conditions and filters."""
        parts: dict[str, Any] = {}
        for name in AXES:
            parts[name] = self.metrics[name].key
            if condition := self.conditions[name]:
                parts[f"{name}_condition"] = condition.key
        parts |= self.filter_query
        parts["tables"] = "in" if self.counts else "out"
        parts["as_of"] = str(self.day)
        return urlencode(parts)
