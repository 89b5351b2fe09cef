"""Writing the public data set as one package, from one moment of the database."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from comparisons.packages.archives import PORTION_BYTES, Member, PackageWriter
from comparisons.packages.declared import TABLES
from comparisons.packages.descriptor import (
    DESCRIPTOR,
    PROFILE,
    PROFILE_TEXT,
    descriptor_of,
    resource_of_bytes,
    resource_of_table,
    tables_hash,
)
from comparisons.packages.parquet import MEDIA_TYPE, write_parquet
from comparisons.packages.scope import Scope
from comparisons.packages.tables import CannotExport, Table, missing_file
from measurements import queries
from measurements.management.packages import LARGEST_TABLE_BYTES

Progress = Callable[[list[Any], str, str], Iterable[Any]]


@dataclass(frozen=True, slots=True)
class Exported:
    """What a package holds: its hash (hex), rows by table, raw files, and those left out."""

    content_hash: str
    rows: Mapping[str, int]
    raw_files: int
    not_held: int


@contextmanager
def snapshot() -> Iterator[None]:
    """Read the database as it is at one moment, without keeping anybody from writing."""
    if connection.in_atomic_block:  # a caller's transaction is the caller's to shape
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        # The framework's own transactions take the lock of writers from the start.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")


def _in_silence(items: list[Any], _what: str, _unit: str) -> Iterable[Any]:
    return items


def export(
    target: Path,
    *,
    with_raw: bool = False,
    with_parquet: bool = False,
    overwrite: bool = False,
    progress: Progress = _in_silence,
    now: Callable[[], datetime] = timezone.now,
) -> Exported:
    """Write the package to `target`, whole or not at all.

    `progress` passes on the items of a list beside a bar, from what is done and what one of them
    is called. Raises `CannotExport` and `OSError`.
    """
    if target.exists() and not overwrite:
        raise CannotExport(f"{target} is there already. Give another name, or --force.")
    if not target.parent.is_dir():
        raise CannotExport(f"There is no folder {target.parent}. Make it first.")
    temporary = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with temporary.open("xb") as file, snapshot():
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, allowZip64=False) as archive:
                made = _write(
                    PackageWriter(archive),
                    Scope(with_raw=with_raw),
                    with_parquet=with_parquet,
                    progress=progress,
                    created=now(),
                )
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
        _sync(target.parent)
    except (zipfile.LargeZipFile, RuntimeError) as error:
        raise CannotExport(
            f"The package would be larger than a plain zip can be ({error}): 4 GiB, or 65,535 "
            "files. Leave the raw files out."
        ) from error
    finally:
        with suppress(FileNotFoundError):
            temporary.unlink()
    return made


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write(
    writer: PackageWriter,
    scope: Scope,
    *,
    with_parquet: bool,
    progress: Progress,
    created: datetime,
) -> Exported:
    tables = [table for table in TABLES if scope.with_raw or not table.of_raw_files]
    members: dict[str, Member] = {}
    resources: list[Mapping[str, Any]] = []

    def note(member: Member, resource: Mapping[str, Any]) -> None:
        members[member.path] = member
        resources.append(resource)

    rows = {}
    for table in progress(tables, "Writing tables", "tables"):
        member = writer.table(table, table.rows(scope))
        rows[table.name] = member.rows
        note(member, resource_of_table(table, member))
        if with_parquet:
            member = _parquet(writer, table, scope)
            note(member, resource_of_bytes(member, mediatype=MEDIA_TYPE))
    files = {**scope.attachment_paths, **scope.raw_paths}
    for sha256, path in progress(sorted(files.items()), "Writing files", "files"):
        member = _raw_file(writer, sha256, path)
        note(member, resource_of_bytes(member))
    profile = writer.content(PROFILE, PROFILE_TEXT)
    note(profile, resource_of_bytes(profile, mediatype="application/schema+json"))
    content_hash = tables_hash(members)
    descriptor = descriptor_of(
        resources, content_hash=content_hash, created=created, with_raw=scope.with_raw
    )
    if len(descriptor) > LARGEST_TABLE_BYTES:
        raise CannotExport(
            f"There are {len(files):,} files, more than {DESCRIPTOR} may list to be read again. "
            "Leave the raw files out."
        )
    writer.content(DESCRIPTOR, descriptor)
    not_held = scope.runs.filter(raw__held=False).count() if scope.with_raw else 0
    return Exported(content_hash, rows, len(files), not_held)


def _parquet(writer: PackageWriter, table: Table, scope: Scope) -> Member:
    with tempfile.TemporaryFile() as scratch:
        write_parquet(table, table.rows(scope), scratch)

        def chunks() -> Iterator[bytes]:
            scratch.seek(0)
            while chunk := scratch.read(PORTION_BYTES):
                yield chunk

        return writer.file(f"{table.path.removesuffix('.csv')}.parquet", chunks)


def _raw_file(writer: PackageWriter, sha256: str, path: str) -> Member:
    def chunks() -> Iterator[bytes]:
        with queries.raw_store().open(sha256) as file:
            while chunk := file.read(PORTION_BYTES):
                yield chunk

    try:
        member = writer.file(path, chunks)
    except FileNotFoundError as error:
        raise missing_file(sha256) from error
    if member.sha256 != sha256:
        raise CannotExport(
            f"The stored file {sha256} is altered. Run verify_store, and restore it from a backup."
        )
    return member
