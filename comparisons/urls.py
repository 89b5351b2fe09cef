"""Addresses."""

from __future__ import annotations

from django.urls import path

from comparisons import feeds
from comparisons.views import adapters, charges, comparisons, home, rankings

urlpatterns = [
    path("", home.home, name="home"),
    path("adapters/<slug:slug>/", adapters.adapter, name="adapter"),
    path("rankings/", rankings.ranking_list, name="ranking-list"),
    path("rankings/<slug:metric>/", rankings.ranking_page, name="ranking"),
    path("rankings/<slug:metric>.csv", rankings.ranking_csv, name="ranking-csv"),
    path("charges/", charges.device_list, name="charge-list"),
    path("charges/<slug:device>/", charges.charges_of_device, name="charges-of-device"),
    path("charges/<slug:device>/curves.svg", charges.curves, name="charge-curves"),
    path("runs/accepted.atom", feeds.accepted_runs, name="accepted-feed"),
    path("comparisons/", comparisons.comparison_list, name="comparison-list"),
    path("comparisons/new/", comparisons.comparison_new, name="comparison-new"),
    path("comparisons/<slug:slug>/", comparisons.comparison_page, name="comparison"),
    path("comparisons/<slug:slug>.csv", comparisons.comparison_csv, name="comparison-csv"),
    path("comparisons/<slug:slug>/edit/", comparisons.comparison_edit, name="comparison-edit"),
    path(
        "comparisons/<slug:slug>/publish/",
        comparisons.comparison_publish,
        name="comparison-publish",
    ),
    path(
        "comparisons/<slug:slug>/revise/", comparisons.comparison_revise, name="comparison-revise"
    ),
]
