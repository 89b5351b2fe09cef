"""A WSGI application whose downloads break after their first rows; a test serves it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pyarrow as pa

from comparisons.bulk.columns import Column
from comparisons.bulk.formats import FORMATS

COLUMNS = (Column("number", "number", "a number"),)


def _batches(*, breaks: bool) -> Iterator[pa.RecordBatch]:
    yield pa.record_batch({"number": [0.5, 0.25]})
    if breaks:
        raise OSError("the database went away")


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterator[bytes]:
    """``/whole/FORM`` and ``/broken/FORM``."""
    _, how, form = environ["PATH_INFO"].split("/")
    start_response("200 OK", [("Content-Type", FORMATS[form].media_type)])
    return FORMATS[form].pieces(COLUMNS, _batches(breaks=how == "broken"))
