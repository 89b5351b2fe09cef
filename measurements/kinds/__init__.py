"""Every kind of run, found by scanning this folder: one sub-folder, one `KIND`."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from itertools import chain
from pathlib import Path

from measurements.kinds import physical
from measurements.kinds.base import Kind, Metric


@cache
def all_kinds() -> tuple[Kind, ...]:
    """Every kind, sorted by slug. Raises at once if a folder declares none."""
    found = []
    for module in pkgutil.iter_modules(__path__):
        if module.ispkg:
            declared = importlib.import_module(f"{__name__}.{module.name}").KIND
            if not isinstance(declared, Kind):
                raise TypeError(f"{module.name} declares no KIND")
            found.append(declared)
    return tuple(sorted(found, key=lambda kind: kind.slug))


def get_kind(slug: str) -> Kind:
    """The kind with that slug. Raises `KeyError`."""
    for kind in all_kinds():
        if kind.slug == slug:
            return kind
    raise KeyError(slug)


@cache
def all_metrics() -> dict[str, Metric]:
    """Metric key → declaration: those of every kind, then those of the catalogue entry."""
    metrics: dict[str, Metric] = {}
    declared = (metric for kind in all_kinds() for metric in kind.metrics)
    for metric in chain(declared, physical.METRICS):
        if metric.key in metrics:
            raise ValueError(f"{metric.key} is declared twice")
        metrics[metric.key] = metric
    return metrics


def kind_of_metric(key: str) -> Kind:
    """The kind that computes the metric. Raises `KeyError`, also for a physical metric."""
    for kind in all_kinds():
        if any(metric.key == key for metric in kind.metrics):
            return kind
    raise KeyError(key)


def method_notes(slug: str) -> str:
    """The kind's README (Markdown): formula, source, limits, cautions."""
    get_kind(slug)
    folder = importlib.import_module(f"{__name__}.{slug.replace('-', '_')}").__path__[0]
    return (Path(folder) / "README.md").read_text("utf-8")
