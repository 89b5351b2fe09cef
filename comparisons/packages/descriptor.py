"""``datapackage.json``: what a package says of itself, after Data Package v2."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from comparisons.actions import hash_of
from comparisons.packages.archives import Member
from comparisons.packages.tables import Reference, Table

STANDARD = "https://datapackage.org/profiles/2.0/datapackage.json"
PROFILE = "profile.json"
PROFILE_VERSION = "1.0"
DESCRIPTOR = "datapackage.json"
PROFILE_TEXT = Path(__file__).with_name(PROFILE).read_bytes()

_SITE = "Brickledger"
_DESCRIPTION = """\
Measurements of USB power adapters, as readers of the site see them. Every table is CSV; the \
schema of each gives its columns, and of every number the unit as a UCUM code and the kind of \
quantity. values.csv holds what stands and what stood; metrics.csv and methods.csv say what the \
numbers are. """
_WITH_RAW = (
    "The raw files of the runs are under raw/, and raw/columns.csv says how each of them is read. "
    "A file that this site does not hold itself is left out."
)
_WITHOUT_RAW = "The raw files were left out; records.csv and files.csv give their hashes."


def schema_of(table: Table) -> dict[str, Any]:
    """The Table Schema v2 of a table."""
    schema: dict[str, Any] = {
        "fields": [column.as_field() for column in table.columns],
        "fieldsMatch": "exact",
        "missingValues": [""],
        "primaryKey": list(table.key),
    }
    if table.references:
        schema["foreignKeys"] = [_foreign_key(item, of=table) for item in table.references]
    return schema


def _foreign_key(reference: Reference, *, of: Table) -> dict[str, Any]:
    # Within its own table a reference names none.
    named = {} if reference.table == of.name else {"resource": reference.table}
    return {
        "fields": list(reference.columns),
        "reference": {**named, "fields": list(reference.key)},
    }


def _resource(member: Member, name: str, **facts: Any) -> dict[str, Any]:
    return {
        "name": name,
        "path": member.path,
        **facts,
        "bytes": member.size,
        "hash": f"sha256:{member.sha256}",
    }


def resource_of_table(table: Table, member: Member) -> dict[str, Any]:
    """The resource of a table."""
    return _resource(
        member,
        table.name,
        title=table.title,
        type="table",
        format="csv",
        mediatype="text/csv",
        encoding="utf-8",
        dialect={
            "delimiter": ",",
            "lineTerminator": "\r\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
        },
        schema=schema_of(table),
    )


def resource_of_bytes(member: Member, *, mediatype: str = "application/octet-stream") -> Any:
    """The resource of a file that is no table of ours, whatever it is."""
    name = member.path.replace("/", "-").replace("_", "-").lower()
    return _resource(member, name, format="bin", mediatype=mediatype)


def tables_hash(members: Mapping[str, Member]) -> str:
    """One SHA-256 (hex) over the hashes of all files, by their paths."""
    return hash_of({path: member.sha256 for path, member in members.items()})


def _licences() -> dict[str, Any]:
    """The licence that the site's keeper chose: a name of the Open Definition, or an address."""
    chosen = settings.DATA_LICENCE.strip()
    kind = "path" if "://" in chosen else "name"
    return {"licenses": [{kind: chosen}]} if chosen else {}


def descriptor_of(
    resources: Sequence[Mapping[str, Any]],
    *,
    content_hash: str,
    created: datetime,
    with_raw: bool,
) -> bytes:
    """The descriptor as JSON. Only `created` differs between two exports of one state."""
    content = {
        "$schema": STANDARD,
        "name": "usb-power-adapter-measurements",
        "id": str(uuid.uuid5(uuid.NAMESPACE_URL, f"sha256:{content_hash}")),
        "title": f"{_SITE}: measurements of USB power adapters",
        "description": _DESCRIPTION + (_WITH_RAW if with_raw else _WITHOUT_RAW),
        "version": f"{PROFILE_VERSION}.0+{content_hash[:12]}",
        "created": created.isoformat(timespec="seconds").replace("+00:00", "Z"),
        "keywords": ["USB power adapter", "efficiency", "standby power", "measurement"],
        "contributors": [{"title": _SITE, "roles": ["creator"]}],
        "sources": [{"title": f"Raw measurements handed in at {_SITE}"}],
        **_licences(),
        "brickledger": {
            "profile": PROFILE,
            "profileVersion": PROFILE_VERSION,
            "rawFiles": with_raw,
            "contentHash": f"sha256:{content_hash}",
        },
        "resources": list(resources),
    }
    return json.dumps(content, ensure_ascii=False, indent=1).encode("utf-8")
