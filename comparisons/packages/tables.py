"""What a table of a package is: one declaration for writing, describing and reading it back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from comparisons.packages.columns import Column
from comparisons.packages.scope import Scope
from comparisons.packages.site import Site

Cells = tuple[Any, ...]
Row = dict[str, Any]


class CannotExport(Exception):
    """Why no package was written; the message says what to do."""


def missing_file(sha256: str) -> CannotExport:
    """What to say of a file that the raw store should have."""
    return CannotExport(
        f"The stored file {sha256} is missing. Run verify_store, and restore it from a backup."
    )


class Source(Protocol):
    """Where the rows of a package are read from."""

    def rows(self, table: str) -> Iterator[Row]:
        """The rows of a table as values by column, in the order of the file."""


@dataclass(frozen=True, slots=True)
class Reference:
    """Columns of a row that name a row of another table by its key."""

    columns: tuple[str, ...]
    table: str
    key: tuple[str, ...]


def _derived(_source: Source, _site: Site) -> None:
    """Nothing is written down: this site states it by itself."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table: `rows` gives what readers may see of it, in a fixed order of natural keys.

    `restore` writes its rows down on an empty site. One that is `of_raw_files` describes them,
    and is left out with them.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    rows: Callable[[Scope], Iterable[Cells]]
    restore: Callable[[Source, Site], None] = _derived
    references: tuple[Reference, ...] = ()
    of_raw_files: bool = False

    @property
    def path(self) -> str:
        """The file of the table within the package."""
        return f"raw/{self.name}.csv" if self.of_raw_files else f"{self.name}.csv"

    @property
    def headings(self) -> tuple[str, ...]:
        """The names of its columns."""
        return tuple(column.name for column in self.columns)
