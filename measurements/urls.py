"""Addresses of the bench: runs, instruments, methods."""

from __future__ import annotations

from django.urls import path

from measurements.views import amend, files, instruments, methods, packages, plans, runs, upload

urlpatterns = [
    path("runs/", runs.run_list, name="run-list"),
    path("runs/new/", upload.run_new, name="run-new"),
    path("runs/new/package/", packages.package_new, name="package-new"),
    path("runs/<uuid:run_id>/", runs.run, name="run"),
    path("runs/<uuid:run_id>/raw/", files.run_raw, name="run-raw"),
    path("runs/<uuid:run_id>/trace.svg", files.run_chart, name="run-chart"),
    path("runs/<uuid:run_id>/trace.csv", files.run_trace_csv, name="run-trace-csv"),
    path("runs/<uuid:run_id>/accept/", runs.run_accept, name="run-accept"),
    path("runs/<uuid:run_id>/withdraw/", runs.run_withdraw, name="run-withdraw"),
    path("runs/<uuid:run_id>/amend/", amend.run_amend, name="run-amend"),
    path("instruments/", instruments.instrument_list, name="instrument-list"),
    path("instruments/new/", instruments.instrument_add, name="instrument-add"),
    path("adapters/<slug:slug>/plan/", plans.plan, name="adapter-plan"),
    path("adapters/<slug:slug>/plan.xlsx", plans.plan_sheet, name="adapter-plan-sheet"),
    path("methods/", methods.method_list, name="method-list"),
    path("methods/<slug:kind>/", methods.method, name="method"),
    path("cautions/", methods.cautions, name="cautions"),
]
