"""Whole tables over HTTP, as streams."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from uuid import UUID

import pyarrow as pa
from django.db.models import Max
from django.http.response import HttpResponseBase
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from catalog.rest.calls import Answer, Call, page_of
from catalog.rest.parameters import Reader, one_of, since, slug
from catalog.rest.problems import Fault, Invalid
from catalog.rest.views import ApiView
from comparisons.api import AS_OF
from comparisons.bulk.columns import TYPES
from comparisons.bulk.formats import FORMATS
from comparisons.bulk.placements import PLACEMENT_COLUMNS, placement_rows
from comparisons.bulk.traces import TRACE_COLUMNS, trace_rows
from comparisons.bulk.values import HISTORY_COLUMNS, VALUE_COLUMNS, history_rows, value_rows
from comparisons.bulk.views import BulkView
from comparisons.queries.rankings import ranked_metrics
from measurements.api import known_adapter
from measurements.kinds import all_kinds, all_metrics
from measurements.models import Run
from measurements.parameters import CONDITION_PARAMETERS, IN_OR_OUT
from measurements.queries import counts_tables

AS = one_of(*FORMATS).saying("Form of the download; csv unless told otherwise.")
ADAPTER = slug.saying("An adapter's slug.")


def _uuid(raw: str) -> UUID:
    try:
        return UUID(raw)
    except ValueError:
        raise ValueError("Write the id of a run, as lists give it.") from None


ID = Reader(_uuid, {"type": "string", "format": "uuid"})

VALUE_PARAMETERS = {
    "as": AS,
    "metric": one_of(*all_metrics()).saying("A metric's key."),
    **CONDITION_PARAMETERS,
    "adapter": ADAPTER,
    "tables": IN_OR_OUT,
}


def _narrowed(view: BulkView, *plain: str) -> dict[str, Any]:
    """Fields of a model with the value wanted, of those parameters that were given.

    Raises `Invalid` for an adapter that is not to be seen.
    """
    narrowed = {name: view.given[name] for name in plain if name in view.given}
    if "adapter" in view.given:
        narrowed["adapter"] = known_adapter(view.given["adapter"], viewer=view.viewer)
    return narrowed


class BulkValues(BulkView):
    """The values that stand today, whole."""

    name = "values"
    columns = VALUE_COLUMNS
    parameters = {
        **VALUE_PARAMETERS,
        "updated_since": since.saying("Only those that began to stand since then."),
    }

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Values that stand."""
        return value_rows(
            viewer=self.viewer,
            tables=counts_tables(self.given.get("tables")),
            narrowed=_narrowed(self, "metric", *CONDITION_PARAMETERS),
            updated_since=self.given.get("updated_since"),
        )

    def get(self, request: Request) -> HttpResponseBase:
        """Download the values that stand today as CSV, NDJSON or Parquet.

        The same rows as `GET values/`, in one stream.
        """
        return self.download(request)


class BulkHistory(BulkView):
    """Every value that ever stood."""

    name = "history"
    columns = HISTORY_COLUMNS
    parameters = {
        **VALUE_PARAMETERS,
        "as_of": AS_OF,
        "updated_since": since.saying("Only what began or ceased to stand since then."),
    }

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Values that stood."""
        return history_rows(
            viewer=self.viewer,
            tables=counts_tables(self.given.get("tables")),
            narrowed=_narrowed(self, "metric", *CONDITION_PARAMETERS),
            as_of=self.given.get("as_of"),
            updated_since=self.given.get("updated_since"),
        )

    def get(self, request: Request) -> HttpResponseBase:
        """Download every value that ever stood, with its time, as CSV, NDJSON or Parquet.

        Values of runs that wait for acceptance after an amendment are left out meanwhile.
        """
        return self.download(request)


class BulkPlacements(BulkView):
    """Every place of every adapter."""

    name = "placements"
    columns = PLACEMENT_COLUMNS
    parameters = {
        "as": AS,
        "metric": one_of(*ranked_metrics()).saying("Key of a metric that is ranked."),
        "as_of": AS_OF,
        "tables": IN_OR_OUT,
    }

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Places, cohort by cohort."""
        return placement_rows(
            viewer=self.viewer,
            tables=counts_tables(self.given.get("tables")),
            metric=self.given.get("metric", ""),
            as_of=self.given.get("as_of"),
        )

    def get(self, request: Request) -> HttpResponseBase:
        """Download the places of all adapters as CSV, NDJSON or Parquet.

        The same numbers as `GET adapters/SLUG/placements/` gives for each.
        """
        return self.download(request)


class BulkTraces(BulkView):
    """The traces of accepted runs."""

    name = "traces"
    columns = TRACE_COLUMNS
    parameters = {
        "as": AS,
        "kind": one_of(*(kind.slug for kind in all_kinds())).saying("A kind of run."),
        "adapter": ADAPTER,
        "run": ID.saying("A run's id."),
    }

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Traces, run by run. Raises `Invalid` for a run that is not to be seen."""
        narrowed = _narrowed(self, "kind")
        if "run" in self.given:
            narrowed["pk"] = self.given["run"]
            if not Run.objects.visible_to(self.viewer).filter(pk=self.given["run"]).exists():
                raise Invalid([Fault("run", f"There is no run {self.given['run']} here.")])
        return trace_rows(viewer=self.viewer, narrowed=narrowed)

    def stamp(self) -> tuple[Any, ...]:
        """The ledger does not turn when a run that stands no more is computed anew."""
        computed = Run.objects.aggregate(last=Max("computed_at"))["last"]
        return (*super().stamp(), computed)

    def get(self, request: Request) -> HttpResponseBase:
        """Download the traces of accepted runs, a row a number, as CSV, NDJSON or Parquet."""
        return self.download(request)


DOWNLOADS: Mapping[str, type[BulkView]] = {
    view.name: view for view in (BulkValues, BulkHistory, BulkPlacements, BulkTraces)
}


class BulkFormAnswer(Answer):
    """A form in which a table can be downloaded."""

    name = serializers.ChoiceField(list(FORMATS))
    media_type = serializers.CharField()


class BulkColumnAnswer(Answer):
    """A column; `unit` is null where there is none or another column names it."""

    name = serializers.CharField()
    type = serializers.ChoiceField(TYPES)
    unit = serializers.CharField(allow_null=True)
    description = serializers.CharField()


class BulkTableAnswer(Answer):
    """A table for download."""

    name = serializers.CharField()
    address = serializers.CharField()
    description = serializers.CharField()
    forms = serializers.ListField(child=BulkFormAnswer())
    parameters = serializers.ListField(child=serializers.CharField())
    columns = serializers.ListField(child=BulkColumnAnswer())


class BulkIndex(ApiView):
    """What can be downloaded whole."""

    calls = {"GET": Call({200: page_of(BulkTableAnswer)})}

    def get(self, request: Request) -> Response:
        """List the tables for download: address, forms, columns with type, unit and meaning."""
        return Response(
            {
                "results": [
                    {
                        "name": name,
                        "address": reverse(f"api-bulk-{name}"),
                        "description": " ".join((view.get.__doc__ or "").split()),
                        "forms": [
                            {"name": form.name, "media_type": form.media_type}
                            for form in FORMATS.values()
                        ],
                        "parameters": sorted(view.parameters),
                        "columns": [column.as_json() for column in view.columns],
                    }
                    for name, view in DOWNLOADS.items()
                ],
                "next": None,
            }
        )
