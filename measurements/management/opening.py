"""Opening whatever holds a package: a folder, a zip, a workbook, or one file alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from measurements.intake.workbook_scan import WorkbookError
from measurements.intake.workbooks import open_workbook
from measurements.intake.zips import ZipFault, open_zip
from measurements.management.filled_sheets import package_of
from measurements.management.packages import Package, PackageError, with_statements
from measurements.management.stores import Archive, Folder, Limits

WORKBOOK_SUFFIX = ".xlsx"
PACKAGE_SUFFIXES = (".zip", WORKBOOK_SUFFIX)


@contextmanager
def open_package(path: Path, *, limits: Limits) -> Iterator[Package]:
    """The package at `path`, a folder, a zip or a workbook. Raises `PackageError`."""
    if path.is_dir():
        yield with_statements(Folder(path))
        return
    if not path.is_file():  # opening a pipe would wait for ever
        raise PackageError(f"{path} is no ordinary file. Give a folder, a zip or a workbook.")
    try:
        file = path.open("rb")
    except OSError as error:
        raise PackageError(f"{path} cannot be opened: {error.strerror}.") from error
    with file, package_in(file, name=path.name, limits=limits) as package:
        yield package


@contextmanager
def package_in(file: IO[bytes], *, name: str, limits: Limits) -> Iterator[Package]:
    """The package in `file`, a zip or, by its `name`, a workbook. Raises `PackageError`."""
    if name.lower().endswith(WORKBOOK_SUFFIX):
        yield _workbook(file, name=name)
        return
    try:
        archive = open_zip(file, largest_directory=limits.directory_bytes)
    except ZipFault as error:
        raise PackageError(f"{name}: {error}") from error
    with archive:
        yield with_statements(Archive(archive, limits))


def _workbook(file: IO[bytes], *, name: str) -> Package:
    try:
        with open_workbook(file) as book:
            return package_of(book, name=name)
    except WorkbookError as error:
        raise PackageError(str(error)) from error


def lone_file(path: Path) -> Package:
    """A package of the one file `path`, by its own name, without statements."""
    return Package(Folder(path.parent), {})


def is_package(file: IO[bytes], *, name: str) -> bool:
    """Whether the file is many runs: a zip by its `name`, or a workbook with a worksheet “runs”.

    The file stands at its beginning afterwards. What cannot be opened is no package here.
    """
    suffix = Path(name).suffix.lower()
    if suffix != WORKBOOK_SUFFIX:
        return suffix in PACKAGE_SUFFIXES
    try:
        with open_workbook(file) as book:
            return book.title_of("runs") is not None
    except WorkbookError:
        return False
    finally:
        file.seek(0)
