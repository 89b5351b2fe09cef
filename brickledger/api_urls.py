"""Addresses of the HTTP API, and the list of its calls that is made from them."""

from __future__ import annotations

from collections.abc import Iterator

from django.http import HttpResponse, HttpResponsePermanentRedirect
from django.urls import URLPattern, path, re_path, resolve
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from brickledger.api_description import Description
from brickledger.api_docs import docs
from catalog import api as catalog
from catalog.rest.calls import Answer, Call
from catalog.rest.views import ApiView
from comparisons import api as comparisons
from comparisons import bulk_api as bulk
from measurements import api as measurements
from measurements import attachment_api as attachments
from measurements import result_api as results

METHODS = ("get", "post", "patch")


class CallAnswer(Answer):
    """One call of this API."""

    method = serializers.ChoiceField(["GET", "POST", "PATCH"])
    address = serializers.CharField()
    does = serializers.CharField()
    parameters = serializers.ListField(child=serializers.CharField())


class IndexAnswer(Answer):
    """Every call of this API."""

    calls = serializers.ListField(child=CallAnswer())


class Index(ApiView):
    """The way in."""

    calls = {"GET": Call({200: IndexAnswer})}

    def get(self, request: Request) -> Response:
        """List the calls of this API."""
        return Response({"calls": list(calls(request.path))})


def calls(root: str) -> Iterator[dict[str, object]]:
    """Every call: method, address, what it does, parameters of its query."""
    for pattern in urlpatterns:
        view = getattr(pattern.callback, "cls", None)
        if view is None or view is UnknownAddress:
            continue
        address = root + str(pattern.pattern).replace("<slug:", "{").replace("<uuid:", "{")
        for method in METHODS:
            if handler := getattr(view, method, None):
                yield {
                    "method": method.upper(),
                    "address": address.replace(">", "}"),
                    "does": " ".join((handler.__doc__ or "").split("\n\n")[0].split()),
                    "parameters": sorted(view.parameters) if method == "get" else [],
                }


class UnknownAddress(ApiView):
    """Everything else under the API, so that it too answers in JSON."""

    permission_classes = []

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        """Say that there is nothing, or send a reader to the address with its slash."""
        self.know_caller(request)
        ended = f"{request.path_info}/"
        there = not request.path_info.endswith("/") and _is_known(ended)
        if there and request.method in ("GET", "HEAD"):
            return
        raise NotFound(
            f"Addresses of this API end with a slash: {ended}"
            if there
            else "There is nothing at this address; GET /api/v1/ lists the calls."
        )

    def get(self, request: Request, **_: object) -> HttpResponse:
        """Send a reader to the same address with a slash."""
        query = request.META.get("QUERY_STRING", "")
        return HttpResponsePermanentRedirect(f"{request.path}/{'?' if query else ''}{query}")


def _is_known(address: str) -> bool:
    return getattr(resolve(address).func, "cls", None) is not UnknownAddress


urlpatterns: list[URLPattern] = [
    path("", Index.as_view(), name="api-index"),
    path("docs/", docs, name="api-docs"),
    path("schema/", Description.as_view(), name="api-schema"),
    path("adapters/", catalog.AdapterList.as_view(), name="api-adapters"),
    path("adapters/<slug:slug>/", catalog.AdapterDetail.as_view(), name="api-adapter"),
    path("adapters/<slug:slug>/ports/", measurements.AdapterPorts.as_view(), name="api-ports"),
    path(
        "adapters/<slug:slug>/placements/",
        comparisons.PlacementList.as_view(),
        name="api-placements",
    ),
    path(
        "adapters/<slug:slug>/attachments/",
        attachments.AdapterAttachments.as_view(),
        name="api-adapter-attachments",
    ),
    path("devices/", catalog.DeviceList.as_view(), name="api-devices"),
    path("instruments/", measurements.InstrumentList.as_view(), name="api-instruments"),
    path("runs/", measurements.RunList.as_view(), name="api-runs"),
    path("runs/<uuid:run_id>/", measurements.RunDetail.as_view(), name="api-run"),
    path("runs/<uuid:run_id>/raw/", measurements.RunRaw.as_view(), name="api-run-raw"),
    path("runs/<uuid:run_id>/trace/", measurements.RunTrace.as_view(), name="api-run-trace"),
    path("runs/<uuid:run_id>/accept/", measurements.RunAccept.as_view(), name="api-run-accept"),
    path(
        "runs/<uuid:run_id>/withdraw/", measurements.RunWithdraw.as_view(), name="api-run-withdraw"
    ),
    path("runs/<uuid:run_id>/amend/", measurements.RunAmend.as_view(), name="api-run-amend"),
    path(
        "runs/<uuid:run_id>/attachments/",
        attachments.RunAttachments.as_view(),
        name="api-run-attachments",
    ),
    path("tables/", results.ResultTableList.as_view(), name="api-result-tables"),
    path("tables/<uuid:table_id>/", results.ResultTableDetail.as_view(), name="api-result-table"),
    path(
        "tables/<uuid:table_id>/accept/",
        results.ResultTableAccept.as_view(),
        name="api-result-table-accept",
    ),
    path(
        "tables/<uuid:table_id>/withdraw/",
        results.ResultTableWithdraw.as_view(),
        name="api-result-table-withdraw",
    ),
    path("metrics/", measurements.MetricList.as_view(), name="api-metrics"),
    path("values/", measurements.ValueList.as_view(), name="api-values"),
    path("rankings/<slug:metric>/", comparisons.RankingDetail.as_view(), name="api-ranking"),
    path("bulk/", bulk.BulkIndex.as_view(), name="api-bulk"),
    *(
        path(f"bulk/{name}/", view.as_view(), name=f"api-bulk-{name}")
        for name, view in bulk.DOWNLOADS.items()
    ),
    path("comparisons/", comparisons.ComparisonList.as_view(), name="api-comparisons"),
    path("comparisons/<slug:slug>/", comparisons.ComparisonDetail.as_view(), name="api-comparison"),
    path(
        "comparisons/<slug:slug>/publish/",
        comparisons.ComparisonPublish.as_view(),
        name="api-comparison-publish",
    ),
    path(
        "comparisons/<slug:slug>/revise/",
        comparisons.ComparisonRevise.as_view(),
        name="api-comparison-revise",
    ),
    path("decode/", catalog.Decoding.as_view(), name="api-decode"),
    path("limits/", measurements.LimitList.as_view(), name="api-limits"),
    re_path(r"", UnknownAddress.as_view(), name="api-unknown"),
]
