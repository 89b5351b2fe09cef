"""Addresses of the bench: runs, instruments, methods."""

from __future__ import annotations

from django.urls import path

from measurements.views import (
    amend,
    arrivals,
    attachments,
    column_maps,
    files,
    instruments,
    methods,
    packages,
    patterns,
    plans,
    runs,
    tables,
    upload,
)

urlpatterns = [
    path("runs/", runs.run_list, name="run-list"),
    path("runs/new/", upload.run_new, name="run-new"),
    path("runs/new/package/", packages.package_new, name="package-new"),
    path("runs/new/names/", patterns.file_names, name="file-names"),
    path("runs/new/names/<int:pk>/retire/", patterns.file_name_retire, name="file-name-retire"),
    path("runs/new/maps/", column_maps.column_maps, name="column-maps"),
    path("runs/new/maps/<int:pk>/retire/", column_maps.column_map_retire, name="column-map-retire"),
    path("runs/arrivals/", arrivals.arrivals, name="arrivals"),
    path("runs/arrivals/<uuid:arrival_id>/", arrivals.arrival, name="arrival"),
    path(
        "runs/arrivals/<uuid:arrival_id>/problems.csv",
        arrivals.arrival_problems,
        name="arrival-problems",
    ),
    path("runs/<uuid:run_id>/", runs.run, name="run"),
    path("runs/<uuid:run_id>/problems.csv", arrivals.run_problems, name="run-problems"),
    path("runs/<uuid:run_id>/raw/", files.run_raw, name="run-raw"),
    path("runs/<uuid:run_id>/trace.svg", files.run_chart, name="run-chart"),
    path("runs/<uuid:run_id>/trace.png", files.run_chart, {"form": "png"}, name="run-chart-png"),
    path("runs/<uuid:run_id>/trace.csv", files.run_trace_csv, name="run-trace-csv"),
    path("runs/<uuid:run_id>/accept/", runs.run_accept, name="run-accept"),
    path("runs/<uuid:run_id>/withdraw/", runs.run_withdraw, name="run-withdraw"),
    path("runs/<uuid:run_id>/amend/", amend.run_amend, name="run-amend"),
    path("runs/<uuid:run_id>/attachments/new/", attachments.add_to_run, name="attachment-add-run"),
    path(
        "adapters/<slug:slug>/attachments/new/",
        attachments.add_to_adapter,
        name="attachment-add-adapter",
    ),
    path("attachments/<uuid:attachment_id>/", attachments.shown, name="attachment"),
    path(
        "attachments/<uuid:attachment_id>/original/",
        attachments.original,
        name="attachment-original",
    ),
    path("attachments/<uuid:attachment_id>/remove/", attachments.remove, name="attachment-remove"),
    path("instruments/", instruments.instrument_list, name="instrument-list"),
    path("instruments/new/", instruments.instrument_add, name="instrument-add"),
    path("adapters/<slug:slug>/plan/", plans.plan, name="adapter-plan"),
    path("adapters/<slug:slug>/plan.xlsx", plans.plan_sheet, name="adapter-plan-sheet"),
    path("tables/", tables.result_table_list, name="result-table-list"),
    path("tables/new/", tables.result_table_new, name="result-table-new"),
    path("tables/<uuid:table_id>/", tables.result_table, name="result-table"),
    path("tables/<uuid:table_id>/raw/", tables.result_table_raw, name="result-table-raw"),
    path("tables/<uuid:table_id>/accept/", tables.result_table_accept, name="result-table-accept"),
    path(
        "tables/<uuid:table_id>/withdraw/",
        tables.result_table_withdraw,
        name="result-table-withdraw",
    ),
    path("methods/glossary/", methods.glossary_page, name="glossary"),
    path("cautions/", methods.cautions, name="cautions"),
]
