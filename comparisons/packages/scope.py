"""What of the site belongs into a package: what the public sees, and nothing else.

Whatever refers to something hidden is left out or empties the reference.
"""

from __future__ import annotations

import re
from functools import cached_property
from pathlib import PurePosixPath
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from catalog.models import Adapter, Device
from comparisons.models import ComparedAdapter, Comparison
from measurements.models import Attachment, ColumnMap, RawFile, ResultTable, Run, Value

_SUFFIX = re.compile(r"\.[a-z0-9]{1,10}")
_DOCUMENT = "application/pdf"


class Scope:
    """The rows that readers may see; `with_raw` says whether raw files come with them."""

    def __init__(self, *, with_raw: bool) -> None:
        self.with_raw = with_raw

    @property
    def adapters(self) -> QuerySet[Adapter]:
        """Adapters that are not under embargo, by slug."""
        return Adapter.objects.visible_to(None).order_by("slug")

    @property
    def runs(self) -> QuerySet[Run]:
        """Runs that were once accepted and do not wait after an amendment, by id."""
        return Run.objects.visible_to(None).order_by("pk")

    @cached_property
    def run_ids(self) -> frozenset[UUID]:
        """The ids of those runs."""
        return frozenset(self.runs.order_by().values_list("pk", flat=True))

    @property
    def result_tables(self) -> QuerySet[ResultTable]:
        """Tables of results that stand, by id."""
        return ResultTable.objects.visible_to(None).order_by("pk")

    @property
    def values(self) -> QuerySet[Value]:
        """Values of those adapters, each with its run or table: the whole history."""
        return Value.objects.visible_to(None).filter(
            Q(run=None, table=None)
            | Q(run__in=self.runs.order_by().values("pk"))
            | Q(table__in=self.result_tables.order_by().values("pk"))
        )

    @property
    def devices(self) -> QuerySet[Device]:
        """Devices that are listed, and those that exported values or runs name."""
        named = Value.objects.filter(pk__in=self.values.values("pk")).exclude(device="")
        of_runs = {
            slug
            for fields in self.runs.exclude(method_fields={}).values_list(
                "method_fields", flat=True
            )
            if isinstance(slug := fields.get("device"), str)
        }
        return Device.objects.filter(
            Q(confirmed=True) | Q(slug__in=named.values("device")) | Q(slug__in=of_runs)
        ).order_by("slug")

    @property
    def column_maps(self) -> QuerySet[ColumnMap]:
        """Column maps by which exported runs were read."""
        used = self.runs.order_by().exclude(column_map=None)
        return ColumnMap.objects.filter(pk__in=used.values("column_map"))

    @property
    def attachments(self) -> QuerySet[Attachment]:
        """Pictures and documents that readers see, by id."""
        return Attachment.objects.present().visible_to(None).order_by("pk")

    @property
    def comparisons(self) -> QuerySet[Comparison]:
        """Published tables of which no adapter is under embargo now, by slug."""
        hidden = ComparedAdapter.objects.filter(comparison=OuterRef("pk")).exclude(
            adapter__in=self.adapters.order_by().values("pk")
        )
        return Comparison.objects.visible_to(None).filter(~Exists(hidden)).order_by("slug")

    @property
    def files(self) -> QuerySet[RawFile]:
        """Files that those rows name, by hash."""
        return RawFile.objects.filter(
            Q(pk__in=self.runs.order_by().values("raw"))
            | Q(pk__in=self.result_tables.order_by().values("raw"))
            | Q(pk__in=self.attachments.order_by().values("shown"))
        ).order_by("pk")

    @cached_property
    def raw_paths(self) -> dict[str, str]:
        """Hash of a run's file → its name in the package; empty without raw files.

        A table of results may name adapters under embargo, so that readers never get its file.
        """
        if not self.with_raw:
            return {}
        found: dict[str, str] = {}
        named = self.runs.filter(raw__held=True).values_list("raw", "file_name")
        for sha256, file_name in named.iterator():
            suffix = PurePosixPath(file_name).suffix.lower()
            safe = suffix if _SUFFIX.fullmatch(suffix) else ".bin"
            found.setdefault(sha256, f"raw/{sha256}{safe}")
        return found

    @cached_property
    def attachment_paths(self) -> dict[str, str]:
        """Hash of what is shown of an attachment → its name in the package."""
        if not self.with_raw:
            return {}
        found: dict[str, str] = {}
        named = self.attachments.filter(shown__held=True).values_list("shown", "media_type")
        for sha256, media_type in named.iterator():
            suffix = "pdf" if media_type == _DOCUMENT else media_type.rpartition("/")[2]
            found[sha256] = f"attachments/{sha256}.{suffix if suffix.isalnum() else 'bin'}"
        return found
