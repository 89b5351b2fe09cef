"""What an import has written down so far, by natural keys."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import islice
from typing import Any
from uuid import UUID

from django.db import models

from catalog.models import Port
from measurements.models import Instrument

_AT_ONCE = 500


@dataclass(slots=True)
class Site:
    """Natural key → database key of what is there.

    `origin` says which package it is, for the history of every run.
    """

    origin: str
    adapters: dict[str, int] = field(default_factory=dict)
    makers: dict[str, int] = field(default_factory=dict)
    protocols: dict[str, int] = field(default_factory=dict)
    ports: dict[tuple[str, str], Port] = field(default_factory=dict)
    units: dict[tuple[str, str], int] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    column_maps: dict[str, int] = field(default_factory=dict)
    comparisons: dict[str, int] = field(default_factory=dict)
    adapter_of_run: dict[UUID, str] = field(default_factory=dict)


def write_all(model: type[models.Model], rows: Iterable[Any]) -> None:
    """Insert the rows in portions, in their order."""
    remaining = iter(rows)
    while portion := list(islice(remaining, _AT_ONCE)):
        model._default_manager.bulk_create(portion)
