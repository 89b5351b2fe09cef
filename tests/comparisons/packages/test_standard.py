"""A package against its standards: Data Package v2 and Table Schema v2, JSON Schema, RFC 4180.

Sources: the reference validator of the standard (frictionless), offline; JSON Schema 2020-12 by
the library jsonschema; Apache Parquet by pyarrow.
"""

from __future__ import annotations

import csv
import io
import json
import socket
import zipfile
from pathlib import Path
from typing import Any

import frictionless
import jsonschema
import pyarrow.parquet as pq
import pytest

from comparisons.packages.declared import TABLES
from comparisons.packages.descriptor import PROFILE_TEXT
from comparisons.packages.tables import Table
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built


@pytest.fixture
def offline(monkeypatch: pytest.MonkeyPatch) -> None:
    """A validator that asks the network for anything fails."""

    def refuse(*_: Any, **__: Any) -> Any:
        raise AssertionError("A package is judged without the network.")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def descriptor(path: Path) -> dict[str, Any]:
    """``datapackage.json`` of a package."""
    content: dict[str, Any] = json.loads(bench.contents(path)["datapackage.json"])
    return content


@pytest.mark.usefixtures("offline")
@pytest.mark.parametrize("which", ["plain", "raw", "parquet"])
def test_the_reference_validator_finds_no_error(built: Built, which: str) -> None:
    report = frictionless.validate(str(getattr(built, which)))

    assert [error.message for error in report.errors] == []
    wrong = [(task.name, error.message) for task in report.tasks for error in task.errors]
    assert wrong == []
    assert report.valid
    assert report.stats["tasks"] == len(descriptor(getattr(built, which))["resources"])


@pytest.mark.usefixtures("offline")
@pytest.mark.parametrize(
    ("table", "column", "cell"),
    [
        ("values", "adapter", "no-such-adapter"),
        ("values", "value", "much"),
        ("runs", "id", ""),
        ("records", "accepted_at", "yesterday"),
        ("records", "problems", "{"),
    ],
)
def test_the_reference_validator_would_find_a_wrong_cell(
    built: Built, tmp_path: Path, table: str, column: str, cell: str
) -> None:
    files = bench.contents(built.plain)
    files[f"{table}.csv"] = with_cell(files[f"{table}.csv"], column=column, cell=cell)
    files["datapackage.json"] = without_hashes(files["datapackage.json"])

    report = frictionless.validate(str(bench.packed(tmp_path / "wrong.zip", files)))

    assert not report.valid
    assert {task.name for task in report.tasks if task.errors} >= {table}


def with_cell(content: bytes, *, column: str, cell: str) -> bytes:
    """The table with another cell in its first row."""
    rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))
    rows[1][rows[0].index(column)] = cell
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8")


def without_hashes(content: bytes) -> bytes:
    """A descriptor that says nothing of bytes and hashes."""
    found = json.loads(content)
    for resource in found["resources"]:
        del resource["bytes"], resource["hash"]
    return json.dumps(found).encode("utf-8")


@pytest.mark.parametrize("which", ["plain", "raw", "parquet"])
def test_the_descriptor_keeps_our_profile_which_is_in_the_package(built: Built, which: str) -> None:
    files = bench.contents(getattr(built, which))
    profile = json.loads(files["profile.json"])
    assert files["profile.json"] == PROFILE_TEXT

    jsonschema.Draft202012Validator.check_schema(profile)
    checker = jsonschema.Draft202012Validator(
        profile, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    assert list(checker.iter_errors(descriptor(getattr(built, which)))) == []


def test_the_profile_refuses_a_field_whose_unit_measures_nothing(built: Built) -> None:
    content = descriptor(built.plain)
    adapters = next(item for item in content["resources"] if item["name"] == "adapters")
    power = next(item for item in adapters["schema"]["fields"] if item["name"] == "rated_power_w")
    assert power["unit"] == "W"
    assert power["quantityKind"] == "power"
    del power["quantityKind"]

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(content, json.loads(PROFILE_TEXT))


def test_every_file_of_the_zip_is_a_resource_with_its_size_and_hash(built: Built) -> None:
    resources = {item["path"]: item for item in descriptor(built.raw)["resources"]}
    files = bench.contents(built.raw)
    assert files.keys() - {"datapackage.json"} == resources.keys()
    hashes = bench.hashes(built.raw)
    for path, resource in resources.items():
        assert resource["bytes"] == len(files[path])
        assert resource["hash"] == f"sha256:{hashes[path]}"


def test_only_the_moment_differs_between_two_exports(built: Built) -> None:
    first, second = descriptor(built.raw), descriptor(built.again)
    assert first.pop("created")
    assert second.pop("created")
    assert first == second


def test_the_zip_carries_no_clock_and_no_folder(built: Built) -> None:
    with zipfile.ZipFile(built.raw) as archive:
        members = archive.infolist()
    assert {member.date_time for member in members} == {(1980, 1, 1, 0, 0, 0)}
    assert not any(member.is_dir() or ".." in member.filename for member in members)


@pytest.mark.parametrize("table", [table for table in TABLES if not table.of_raw_files])
def test_parquet_says_the_same_as_csv(built: Built, table: Table) -> None:
    files = bench.contents(built.parquet)
    stored = pq.read_table(io.BytesIO(files[f"{table.name}.parquet"]))
    text = files[f"{table.name}.csv"].decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    assert stored.column_names == list(table.headings)
    assert stored.num_rows == len(rows)
    for column in table.columns:
        cells = stored.column(column.name).to_pylist()
        if column.type == "number":
            assert cells == [float(row[column.name]) if row[column.name] else None for row in rows]
        if column.type == "string":
            assert [cell or "" for cell in cells] == [row[column.name] for row in rows]
        if column.unit is not None:
            metadata = stored.schema.field(column.name).metadata
            assert metadata[b"unit"].decode() == column.as_field()["unit"]
