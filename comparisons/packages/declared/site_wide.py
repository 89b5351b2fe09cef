"""What concerns all rows: notices, metrics, methods, sources, instruments, column maps."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.apps import apps

from comparisons.actions import canonical_json
from comparisons.packages.columns import Column, steady, text_of
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site, write_all
from comparisons.packages.tables import Cells, Reference, Source, Table
from comparisons.packages.ucum import quantity_of, ucum_of
from measurements.intake import column_maps
from measurements.kinds import all_kinds, all_metrics
from measurements.models import ColumnMap, Instrument
from measurements.standards.sources import SOURCES


def _notices(_scope: Scope) -> Iterator[Cells]:
    # The notices belong to the site as a whole, whose package imports this one.
    notices = apps.get_model("brickledger", "SiteNotice")
    yield from notices._default_manager.order_by("text").values_list("text")


def _restore_notices(source: Source, _site: Site) -> None:
    notices = apps.get_model("brickledger", "SiteNotice")
    for row in source.rows("notices"):
        notices._default_manager.get_or_create(text=row["text"])


def kind_of_metrics() -> dict[str, str]:
    """Metric → the kind of run that computes it; "" for what follows from the catalogue."""
    kinds = {metric.key: kind.slug for kind in all_kinds() for metric in kind.metrics}
    return {key: kinds.get(key, "") for key in all_metrics()}


def _metrics(_scope: Scope) -> Iterator[Cells]:
    kinds = kind_of_metrics()
    for key, metric in sorted(all_metrics().items()):
        yield (
            key,
            metric.title,
            kinds[key],
            metric.unit,
            ucum_of(metric.unit),
            quantity_of(metric.unit),
            metric.better,
            list(metric.condition),
            metric.decimals,
            metric.ranked,
            metric.method,
        )


def _methods(_scope: Scope) -> Iterator[Cells]:
    kinds = kind_of_metrics()
    for key, metric in sorted(all_metrics().items()):
        said = (metric.definition, metric.formula, metric.source)
        yield kinds[key], key, metric.method, *said


def _sources(_scope: Scope) -> Iterator[Cells]:
    for key, item in sorted(SOURCES.items()):
        yield key, item.title, item.edition, item.note


_ACCURACY = ("reading_percent", "fixed", "calibrated_on", "calibration_due")


def _instruments(_scope: Scope) -> Iterator[Cells]:
    yield from Instrument.objects.order_by("name").values_list("name", "quantity", *_ACCURACY)


def _restore_instruments(source: Source, site: Site) -> None:
    for row in source.rows("instruments"):
        said = {name: row[name] for name in ("quantity", *_ACCURACY)}
        instrument, _ = Instrument.objects.update_or_create(name=row["name"], defaults=said)
        site.instruments[instrument.name] = instrument


def id_of_map(item: ColumnMap) -> str:
    """SHA-256 of all that a column map says: the same on every site."""
    made_at = text_of(_MADE_AT, item.made_at)
    said = [item.kind, item.name, made_at, steady(item.content)]
    return hashlib.sha256(canonical_json(said).encode("ascii")).hexdigest()


def _column_maps(scope: Scope) -> Iterator[Cells]:
    for key, item in sorted(
        ((id_of_map(item), item) for item in scope.column_maps), key=lambda pair: pair[0]
    ):
        yield key, item.kind, item.name, item.content, item.made_at, item.retired_at


def _restore_column_maps(source: Source, site: Site) -> None:
    rows: dict[str, ColumnMap] = {}
    for row in source.rows("column_maps"):
        pure = column_maps.ColumnMap.from_json(row["content"])
        rows[row["id"]] = ColumnMap(
            kind=row["kind"],
            name=row["name"],
            content=row["content"],
            fingerprint=pure.fingerprint,
            made_at=row["made_at"],
            retired_at=row["retired_at"],
        )
    write_all(ColumnMap, rows.values())
    site.column_maps |= {key: item.pk for key, item in rows.items()}


_MADE_AT = Column("made_at", "datetime", "When somebody settled it.", required=True)

NOTICES = Table(
    "notices",
    "Sentences that the site shows on every page",
    (Column("text", "string", "The sentence.", required=True),),
    key=("text",),
    rows=_notices,
    restore=_restore_notices,
)
SOURCES_TABLE = Table(
    "sources",
    "Published works that formulas and limits come from",
    (
        Column("key", "string", "Short name.", required=True),
        Column("title", "string", "Title.", required=True),
        Column("edition", "string", "Edition or date."),
        Column("note", "string", "How much of it was read."),
    ),
    key=("key",),
    rows=_sources,
)
METRICS = Table(
    "metrics",
    "Metrics: what values.csv holds",
    (
        Column("key", "string", "Short name.", required=True),
        Column("title", "string", "Title.", required=True),
        Column("kind", "string", "Kind of run that gives it; empty: the catalogue does."),
        Column("unit", "string", "Unit as pages show it.", required=True),
        Column("ucum", "string", "The same as UCUM code.", required=True),
        Column("quantity_kind", "string", "What the unit measures.", required=True),
        Column("better", "string", "lower, higher, or empty: neither."),
        Column("condition", "array", "Parts of the condition that it is ranked by."),
        Column("decimals", "integer", "Decimals that pages show.", required=True),
        Column("ranked", "boolean", "Whether there is a ranking of it.", required=True),
        Column("method", "string", "Version of the method of today.", required=True),
    ),
    key=("key",),
    rows=_metrics,
)
METHODS = Table(
    "methods",
    "Methods: how metrics are computed",
    (
        Column("kind", "string", "Kind of run; empty for the catalogue."),
        Column("metric", "string", "Metric that it computes.", required=True),
        Column("version", "string", "Version; another number means another result.", required=True),
        Column("definition", "string", "What it is.", required=True),
        Column("formula", "string", "Formula in plain text.", required=True),
        Column("source", "string", "Key of its source.", required=True),
    ),
    key=("metric", "version"),
    rows=_methods,
    references=(
        Reference(("metric",), "metrics", ("key",)),
        Reference(("source",), "sources", ("key",)),
    ),
)
INSTRUMENTS = Table(
    "instruments",
    "Measuring instruments and their stated accuracy",
    (
        Column("name", "string", "Name.", required=True),
        Column(
            "quantity",
            "string",
            "What it measures: input_power, output_voltage, output_current, temperature, ripple.",
            required=True,
        ),
        Column(
            "reading_percent", "number", "Accuracy, share of the reading.", required=True, unit="%"
        ),
        Column(
            "fixed",
            "number",
            "Accuracy, fixed part: in W, V, A, K or mV, as the quantity asks.",
            required=True,
        ),
        Column("calibrated_on", "date", "Last calibration."),
        Column("calibration_due", "date", "Next calibration."),
    ),
    key=("name",),
    rows=_instruments,
    restore=_restore_instruments,
)
COLUMN_MAPS = Table(
    "column_maps",
    "How the columns of files of one shape were settled",
    (
        Column("id", "string", "SHA-256 of what it says.", required=True),
        Column("kind", "string", "Kind of run.", required=True),
        Column("name", "string", "What the bench calls it.", required=True),
        Column("content", "object", "Headings, columns, units, decimal mark.", required=True),
        _MADE_AT,
        Column("retired_at", "datetime", "When another one took its place."),
    ),
    key=("id",),
    rows=_column_maps,
    restore=_restore_column_maps,
)

SITE_WIDE = (NOTICES, SOURCES_TABLE, METRICS, METHODS, INSTRUMENTS, COLUMN_MAPS)
