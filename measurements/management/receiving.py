"""The runs of a package, taken in one by one: the same for the command and the page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from django.contrib.auth.models import User

from measurements.management import bulk
from measurements.management.catalogue import Brought, bring_adapters
from measurements.management.packages import Package, PackageError, Row
from measurements.management.stores import Limits

Progress = Callable[[Sequence[Row]], Iterable[Row]]


@dataclass(slots=True)
class Parcel:
    """What became of a package, filled in as it is taken in."""

    brought: Brought = field(default_factory=Brought)
    intake: bulk.Intake = field(default_factory=bulk.Intake)
    not_filled_in: int = 0

    @property
    def failures(self) -> int:
        """How many rows were refused, of runs and of adapters."""
        return self.intake.refused_rows + len(self.brought.refusals)


def receive_package(
    package: Package, *, parcel: Parcel, by: User, limits: Limits, progress: Progress = iter
) -> None:
    """Take in the adapters and runs of a package and note in `parcel` what became of them.

    Raises `PackageError` when the package as a whole makes no sense; nothing of it is kept
    then. Raises `OSError` when the raw store is full; what `parcel` says is kept.
    """
    table = package.table
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
    if by.has_perm("catalog.add_adapter"):
        parcel.brought = bring_adapters(package)
    elif package.has("adapters.csv"):
        raise PackageError(
            "adapters.csv: this account may not write down adapters. Leave the table out, or "
            "let an editor send the package."
        )
    for row in progress(rows):
        bulk.take_in(row, intake=parcel.intake, package=package, by=by, table=table)
