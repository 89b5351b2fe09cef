"""Taking an exported package into an empty site: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from django.conf import settings
from django.db import DatabaseError, transaction

from catalog.models import Adapter
from comparisons.models import Comparison
from comparisons.packages.checking import Progress, check
from comparisons.packages.declared import TABLES
from comparisons.packages.reading import Opened, Unfit, opened
from comparisons.packages.site import Site
from measurements.intake.rawstore import RawStore
from measurements.models import Ledger, ResultTable, Run

# What must not be there yet, by the words of a person.
_EMPTY_OF = {
    "adapters": Adapter,
    "runs": Run,
    "tables of results": ResultTable,
    "comparisons": Comparison,
}


@dataclass(frozen=True, slots=True)
class Imported:
    """Rows by table, files that were kept, and runs whose raw file is not held here."""

    rows: Mapping[str, int]
    files: int
    not_held: int


def _in_silence(items: list[Any], _what: str, _unit: str) -> Iterable[Any]:
    return items


def take_in(path: Path, *, progress: Progress = _in_silence) -> Imported:
    """Write the package at `path` down on this site, which must be empty.

    Everything is checked before anything is written; the files are durable in the raw store
    before the one transaction of the rows begins. Raises `Unfit` and `OSError`; no row was
    written then.
    """
    _require_empty()
    with opened(path) as package:
        check(package, progress=progress)
        _keep_files(package, progress=progress)
        site = Site(origin=f"package of {package.created}, {package.content_hash}")
        with transaction.atomic():
            _require_empty()
            _restore(package, site, progress=progress)
            Ledger.turn()
        not_held = Run.objects.filter(raw__held=False).count()
        return Imported(package.counts, len(_of_store(package)), not_held)


def _require_empty() -> None:
    there = [
        f"{count:,} {words}"
        for words, model in _EMPTY_OF.items()
        if (count := model._default_manager.count())
    ]
    if there:
        raise Unfit(
            f"This site is not empty: it has {', '.join(there)}. A package is taken into an empty "
            "site only. Set BRICKLEDGER_DATA_DIR (or DATABASE_URL) to an empty place and run "
            "migrate there; runs alone come into any site by the intake command."
        )


def _of_store(package: Opened) -> dict[str, str]:
    """The raw files and attachments by hash, after which they are named."""
    return {
        sha256: path for sha256, path in package.files.items() if PurePosixPath(path).stem == sha256
    }


def _keep_files(package: Opened, *, progress: Progress) -> None:
    # The limit of an upload is for strangers; these were accepted before.
    store = RawStore(settings.RAW_DIR)
    for path in progress(list(_of_store(package).values()), "Keeping files", "files"):
        store.keep(package.package.chunks(path))


def _restore(package: Opened, site: Site, *, progress: Progress) -> None:
    tables = [table for table in TABLES if table.name in package.tables]
    for table in progress(tables, "Writing down", "tables"):
        try:
            table.restore(package, site)
        except (DatabaseError, KeyError, ValueError, TypeError) as error:
            raise Unfit(
                f"{table.path}: its rows contradict each other or what this site has already "
                f"({type(error).__name__}: {error}). Nothing was written."
            ) from error
