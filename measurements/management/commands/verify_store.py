"""``verify_store``: every raw file hashed again and compared with its record."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from measurements import queries
from measurements.management.progress import bar
from measurements.models import RawFile


class Command(BaseCommand):
    """Prove that no raw file is missing or altered."""

    help = "Re-hashes every raw file; exits with an error if one is missing or altered."

    def handle(self, *args: Any, **options: Any) -> None:
        """Name every damaged file and the runs that rest on it."""
        store = queries.raw_store()
        files = RawFile.objects.filter(held=True).order_by("pk")
        damaged = 0
        total = files.count()
        for raw in bar(files.iterator(chunk_size=500), total=total, what="Hashing", unit="files"):
            condition = store.check(raw.sha256)
            if condition == "intact":
                continue
            damaged += 1
            runs = ", ".join(str(key) for key in raw.runs.values_list("pk", flat=True)) or "none"
            self.stderr.write(f"{condition}: {raw.sha256} ({raw.size:,} bytes); runs: {runs}")
        if damaged:
            raise CommandError(
                f"{damaged} of {total} raw files are missing or altered. Copy them from a backup "
                "into the raw store, under the same names, and run this again."
            )
        self.stdout.write(f"{total} raw files, all intact.")
        if elsewhere := RawFile.objects.filter(held=False).count():
            self.stdout.write(
                f"{elsewhere} more are not held here: their runs came with a package without them."
            )
