"""``export_package``: the whole public data set as an open data package."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from comparisons.packages.exporting import export
from comparisons.packages.tables import CannotExport
from measurements.management.progress import bar


class Command(BaseCommand):
    """Write what the public sees into a Data Package."""

    help = (
        "Writes all that readers see as a Data Package v2: a zip of CSV tables with units, and "
        "with --raw the raw files too. Accounts and adapters under embargo are never in it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to, and what besides the tables."""
        parser.add_argument("path", type=Path, metavar="OUT.zip", help="the zip to write")
        parser.add_argument("--raw", action="store_true", help="with raw files and attachments")
        parser.add_argument("--parquet", action="store_true", help="every table as Parquet too")
        parser.add_argument("--force", action="store_true", help="replace a file that is there")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the package and say what is in it."""
        path: Path = options["path"]
        try:
            made = export(
                path.absolute(),
                with_raw=options["raw"],
                with_parquet=options["parquet"],
                overwrite=options["force"],
                progress=_with_bar,
            )
        except CannotExport as error:
            raise CommandError(str(error)) from error
        except OSError as error:
            raise CommandError(
                f"{path} cannot be written: {error.strerror or error}. Nothing was left behind."
            ) from error
        except KeyboardInterrupt:
            # 128 and the number of SIGINT, as shells report it: common practice.
            raise CommandError("Interrupted; nothing was left behind.", returncode=130) from None
        for name, rows in made.rows.items():
            self.stdout.write(f"{rows:>9,} {name}")
        if options["raw"]:
            self.stdout.write(f"{made.raw_files:>9,} files")
        if made.not_held:
            self.stdout.write(f"{made.not_held} runs are without raw file: it is not held here.")
        self.stdout.write(f"{path}: content sha256:{made.content_hash}")


def _with_bar(items: list[Any], what: str, unit: str) -> Iterable[Any]:
    return bar(items, total=len(items), what=what, unit=unit)
