"""Addresses."""

from __future__ import annotations

from django.urls import path

from comparisons import feeds
from comparisons.views import (
    adapters,
    builder,
    charges,
    comparisons,
    devices,
    embeds,
    facts,
    home,
    methods,
    pairs,
    rankings,
    search,
)

urlpatterns = [
    path("", home.home, name="home"),
    path("search/", search.search_page, name="search"),
    path("adapters/", adapters.adapter_list, name="adapter-list"),
    path("adapters/<slug:slug>/", adapters.adapter, name="adapter"),
    path("adapters/<slug:slug>/beside/<slug:other>/", adapters.beside, name="adapter-beside"),
    path("adapters/<slug:slug>/facts/", facts.adapter_facts, name="adapter-facts"),
    path(
        "adapters/<slug:slug>/facts.txt",
        facts.adapter_facts_file,
        {"suffix": "txt"},
        name="adapter-facts-text",
    ),
    path(
        "adapters/<slug:slug>/facts.md",
        facts.adapter_facts_file,
        {"suffix": "md"},
        name="adapter-facts-markdown",
    ),
    path("methods/", methods.method_list, name="method-list"),
    path("methods/<slug:kind>/", methods.method, name="method"),
    path("rankings/", rankings.ranking_list, name="ranking-list"),
    path("rankings/pair/", pairs.pair_page, name="pair"),
    path("rankings/pair.csv", pairs.pair_csv, name="pair-csv"),
    path("rankings/<slug:metric>/", rankings.ranking_page, name="ranking"),
    path(
        "rankings/<slug:metric>.csv", rankings.ranking_file, {"suffix": "csv"}, name="ranking-csv"
    ),
    path(
        "rankings/<slug:metric>.parquet",
        rankings.ranking_file,
        {"suffix": "parquet"},
        name="ranking-parquet",
    ),
    path("devices/<slug:slug>/", devices.device_page, name="device"),
    path("devices/<slug:slug>.csv", devices.device_csv, name="device-csv"),
    path("charges/", charges.device_list, name="charge-list"),
    path("charges/<slug:device>/", charges.charges_of_device, name="charges-of-device"),
    path("charges/<slug:device>/curves.svg", charges.curves, name="charge-curves"),
    path(
        "charges/<slug:device>/curves.png",
        charges.curves,
        {"form": "png"},
        name="charge-curves-png",
    ),
    path("charges/<slug:device>/curves.csv", charges.curves_csv, name="charge-curves-csv"),
    path("runs/accepted.atom", feeds.accepted_runs, name="accepted-feed"),
    path("comparisons/", comparisons.comparison_list, name="comparison-list"),
    path("comparisons/new/", builder.comparison_new, name="comparison-new"),
    path("comparisons/<slug:slug>/", comparisons.comparison_page, name="comparison"),
    path("comparisons/<slug:slug>/facts/", facts.comparison_facts, name="comparison-facts"),
    path(
        "comparisons/<slug:slug>/facts.txt",
        facts.comparison_facts_file,
        {"suffix": "txt"},
        name="comparison-facts-text",
    ),
    path(
        "comparisons/<slug:slug>/facts.md",
        facts.comparison_facts_file,
        {"suffix": "md"},
        name="comparison-facts-markdown",
    ),
    path("comparisons/<slug:slug>.csv", comparisons.comparison_csv, name="comparison-csv"),
    path("comparisons/<slug:slug>.xlsx", comparisons.comparison_xlsx, name="comparison-xlsx"),
    path("comparisons/<slug:slug>.md", comparisons.comparison_markdown, name="comparison-markdown"),
    path(
        "comparisons/<slug:slug>/charts/<int:position>.svg",
        comparisons.comparison_chart,
        name="comparison-chart",
    ),
    path("comparisons/<slug:slug>/embed/", embeds.comparison_embed, name="comparison-embed"),
    path(
        "comparisons/<slug:slug>/table.svg",
        embeds.comparison_image,
        {"form": "svg"},
        name="comparison-svg",
    ),
    path(
        "comparisons/<slug:slug>/table.png",
        embeds.comparison_image,
        {"form": "png"},
        name="comparison-png",
    ),
    path("comparisons/<slug:slug>/edit/", builder.comparison_edit, name="comparison-edit"),
    path("comparisons/<slug:slug>/preview/", builder.comparison_preview, name="comparison-preview"),
    path("comparisons/<slug:slug>/publish/", builder.comparison_publish, name="comparison-publish"),
    path("comparisons/<slug:slug>/revise/", builder.comparison_revise, name="comparison-revise"),
]
