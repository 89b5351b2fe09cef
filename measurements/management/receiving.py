"""The runs of a package, taken in one by one: the same for the command and the page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from django.contrib.auth.models import User

from measurements.management import bulk
from measurements.management.catalogue import Brought, bring_adapters
from measurements.management.packages import Package, PackageError, Row
from measurements.management.results import TABLE as RESULTS
from measurements.management.results import Results, bring_results, title_of
from measurements.management.stores import Limits

Progress = Callable[[Sequence[Row]], Iterable[Row]]


@dataclass(slots=True)
class Parcel:
    """What became of a package, filled in as it is taken in."""

    brought: Brought = field(default_factory=Brought)
    intake: bulk.Intake = field(default_factory=bulk.Intake)
    not_filled_in: int = 0
    results: Results | None = None

    @property
    def failures(self) -> int:
        """How many rows were refused, of runs, of adapters and of results."""
        refused_results = self.results.refused if self.results else 0
        return self.intake.refused_rows + len(self.brought.refusals) + refused_results


def holds_tables(package: Package) -> bool:
    """Whether the package brings adapters, ports or results."""
    return any(package.has(name) for name in ("adapters.csv", "ports.csv", RESULTS))


def receive_tables(
    package: Package, *, parcel: Parcel, by: User, name: str, origin: str = "", file_name: str = ""
) -> None:
    """Take in the adapters, ports and results of a package. Raises as `receive_package`.

    `origin` says where the results come from, if it is not the package as it calls itself.
    """
    if by.has_perm("catalog.add_adapter"):
        parcel.brought = bring_adapters(package)
    elif package.has("adapters.csv") or package.has("ports.csv"):
        raise PackageError(
            "adapters.csv: this account may not write down adapters. Leave the table out, or "
            "let an editor send the package."
        )
    if package.has(RESULTS):
        parcel.results = bring_results(
            package,
            by=by,
            origin=origin or title_of(package, otherwise=name or RESULTS),
            file_name=file_name or RESULTS,
        )


def receive_package(
    package: Package,
    *,
    parcel: Parcel,
    by: User,
    limits: Limits,
    progress: Progress = iter,
    name: str = "",
) -> None:
    """Take in the adapters, runs and results of a package; `parcel` says what became of them.

    `name` is what the package is called, the origin of results that state none. Raises
    `PackageError` when the package as a whole makes no sense; nothing of it is kept then. Raises
    `OSError` when the raw store is full; what `parcel` says is kept.
    """
    table = package.table
    if not package.has(table) and holds_tables(package):
        receive_tables(package, parcel=parcel, by=by, name=name)
        return
    if not package.has(table):
        raise PackageError(
            f"{table} is missing. Write one row a run with the columns adapter, kind and file, "
            "and put it beside the files."
        )
    rows = package.rows(table)
    parcel.not_filled_in = package.not_filled_in
    if not rows and package.not_filled_in:
        return
    try:
        bulk.require_columns(rows, known=bulk.known_columns(), needed=("adapter", "kind", "file"))
    except PackageError as error:
        raise PackageError(f"{table}: {error}") from error
    if len(rows) > limits.rows:
        raise PackageError(
            f"{table} lists {len(rows):,} runs; {limits.rows:,} are taken here at once. Split the "
            "package, or let whoever runs the site take it in with the intake command."
        )
    receive_tables(package, parcel=parcel, by=by, name=name)
    for row in progress(rows):
        bulk.take_in(row, intake=parcel.intake, package=package, by=by, table=table)
