"""``import_package``: an exported package into an empty site."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from comparisons.packages.importing import take_in
from comparisons.packages.reading import Unfit
from measurements.management.progress import bar


class Command(BaseCommand):
    """Take a package in, whole or not at all."""

    help = (
        "Takes a package that export_package wrote into an empty site: the same tables, without "
        "accounts. Every byte is checked before anything is written."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Which package."""
        parser.add_argument("path", type=Path, metavar="IN.zip", help="the zip to read")

    def handle(self, *args: Any, **options: Any) -> None:
        """Take it in and say what came; fails with every problem named."""
        path: Path = options["path"]
        try:
            made = take_in(path, progress=_with_bar)
        except Unfit as unfit:
            for problem in unfit.problems[:-1]:
                self.stderr.write(problem)
            raise CommandError(f"{unfit.problems[-1]}\nNo row of {path} was taken in.") from unfit
        except OSError as error:
            raise CommandError(
                f"Stopped: {error}. No row was taken in; mend the cause and run this again."
            ) from error
        except KeyboardInterrupt:
            # 128 and the number of SIGINT, as shells report it: common practice.
            raise CommandError("Interrupted; no row was taken in.", returncode=130) from None
        for name, rows in made.rows.items():
            self.stdout.write(f"{rows:>9,} {name}")
        self.stdout.write(f"{made.files:>9,} files")
        if made.not_held:
            self.stdout.write(
                f"The raw files of {made.not_held:,} runs are not held here: the package left "
                "them out. Their values stand; they cannot be computed anew."
            )


def _with_bar(items: list[Any], what: str, unit: str) -> Iterable[Any]:
    return bar(items, total=len(items), what=what, unit=unit)
