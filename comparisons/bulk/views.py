"""The view that every download starts from: headers, entity tag, stream."""

from __future__ import annotations

import hashlib
from abc import abstractmethod
from collections.abc import Iterator
from functools import cache
from itertools import chain
from typing import Any, ClassVar

import pyarrow as pa
from django.http import StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.cache import get_conditional_response
from rest_framework.request import Request

from catalog.models import sees_unpublished
from catalog.rest.calls import Call, Download
from catalog.rest.views import ApiView
from comparisons.bulk.columns import Column
from comparisons.bulk.formats import FORMATS, Format
from measurements.kinds import all_kinds, all_metrics
from measurements.models import Ledger
from measurements.queries import counts_tables


class BulkView(ApiView):
    """A table as one stream, under a tag that lasts until something of the site changes.

    What can fail does so before the first byte, which the first rows are read for. A fault later
    on ends the connection without the end of the body.
    """

    columns: ClassVar[tuple[Column, ...]]
    name: ClassVar[str]
    calls = {"GET": Call({200: Download(tuple(form.bare_type for form in FORMATS.values()))})}

    @abstractmethod
    def batches(self) -> Iterator[pa.RecordBatch]:
        """The rows that are asked for. Raises `Invalid`; nothing else is read before the first."""

    @abstractmethod
    def get(self, request: Request) -> HttpResponseBase:
        """Download the table; each one says of what."""

    def stamp(self) -> tuple[Any, ...]:
        """What changes whenever this table may, beside the day: an embargo ends with one."""
        return (Ledger.read(),)

    def download(self, request: Request) -> HttpResponseBase:
        """The answer to GET and HEAD: the table, or nothing where the client has it already."""
        form = FORMATS[self.given.get("as", "csv")]
        batches = self.batches()
        tag = self._tag(request)
        if known := get_conditional_response(request._request, etag=tag):
            known["ETag"] = tag  # RFC 9110, section 15.4.5
            return known
        # A stream even without content: it has no length before it was read.
        pieces = () if request.method == "HEAD" else form.pieces(self.columns, _begun(batches))
        if form.is_compressed:
            # The middleware that compresses answers goes by this header.
            request._request.META["HTTP_ACCEPT_ENCODING"] = "identity"
        return StreamingHttpResponse(
            pieces,
            content_type=form.media_type,
            headers={
                "ETag": tag,
                "Content-Disposition": f'attachment; filename="{self._file_name(form)}"',
            },
        )

    def _file_name(self, form: Format) -> str:
        return f"brickledger-{self.name}.{form.name}"

    def _tag(self, request: Request) -> str:
        """A weak tag: the same rows, though not for ever the same bytes."""
        who = self.request.user
        seen = (sees_unpublished(who), who.has_perm("measurements.receive_run"))
        content = (
            *self.stamp(),
            timezone.now().date(),
            seen,
            counts_tables(self.given.get("tables")),
            request.get_full_path(),
            _declarations(self.columns),
        )
        return f'W/"{hashlib.sha256(repr(content).encode()).hexdigest()[:32]}"'


@cache
def _declarations(columns: tuple[Column, ...]) -> str:
    """What of the program itself a download depends on."""
    return repr((columns, tuple(all_metrics().values()), [kind.columns for kind in all_kinds()]))


def _begun(batches: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """The same batches, the first of them read already."""
    first = next(batches, None)
    return chain(() if first is None else (first,), batches)
