"""What downloads say, read by readers that are not ours."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from pyarrow import parquet
from rest_framework.test import APIClient

BULK = "/api/v1/bulk"


def content_of(answer: Any) -> bytes:
    """The whole of a stream."""
    assert answer.status_code == 200, answer
    assert answer.streaming
    return b"".join(answer.streaming_content)


def downloaded(client: APIClient, table: str, query: str = "") -> list[dict[str, Any]]:
    """The rows of a table, as NDJSON."""
    separator = "&" if query else ""
    content = content_of(client.get(f"{BULK}/{table}/?{query}{separator}as=ndjson"))
    return [json.loads(line) for line in content.splitlines()]


def csv_rows(content: bytes) -> list[dict[str, str]]:
    """The rows of a CSV."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def parquet_rows(content: bytes) -> list[dict[str, Any]]:
    """The rows of a Parquet file."""
    rows: list[dict[str, Any]] = parquet.read_table(io.BytesIO(content)).to_pylist()
    return rows
