"""``sheet``: the planned points of an adapter as a workbook to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from catalog.models import Adapter
from measurements.management.sheets import file_name_of, sheet_of


class Command(BaseCommand):
    """Write the sheet of an adapter; an existing file is left alone, it may be filled in."""

    help = (
        "Writes the operating points of every method for an adapter as a workbook (XLSX) to fill "
        "in at the bench. Filled in, the intake command or the page for packages takes it as it is."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Which adapter, and where to."""
        parser.add_argument("adapter", help="the adapter's slug")
        parser.add_argument(
            "--out",
            type=Path,
            default=None,
            metavar="FILE.xlsx",
            help="default: SLUG-plan.xlsx in the present folder",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the file and say what it is for."""
        adapter = (
            Adapter.objects.select_related("maker")
            .prefetch_related("ports", "claims__port")
            .filter(slug=options["adapter"])
            .first()
        )
        if adapter is None:
            raise CommandError(f"No adapter is called “{options['adapter']}” here.")
        out: Path = options["out"] or Path(file_name_of(adapter))
        content = sheet_of(adapter)
        try:
            with out.open("xb") as file:
                file.write(content)
        except FileExistsError as error:
            raise CommandError(
                f"{out} exists and may be filled in already; it was left as it is. "
                "Name another file with --out."
            ) from error
        except OSError as error:
            raise CommandError(f"{out} cannot be written: {error.strerror}.") from error
        self.stdout.write(
            f"{out}: read its first page for the cautions, fill it in, and hand it in with "
            f"“intake {out}” or on the page for packages."
        )
