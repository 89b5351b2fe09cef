"""A package that is not as it should be is refused, with place and reason, and nothing written."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from pytest_django.fixtures import Settings

from catalog.models import Adapter
from comparisons.packages import importing
from comparisons.packages.reading import Unfit
from measurements.intake.rawstore import RawStore
from measurements.models import Instrument, RawFile, Run
from tests.comparisons.packages import bench
from tests.comparisons.packages.conftest import Built
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

Files = dict[str, bytes]


def refused(path: Path) -> str:
    """All that the command says when it refuses; nothing was written."""
    err = io.StringIO()
    with pytest.raises(CommandError) as error:
        call_command("import_package", str(path), stdout=io.StringIO(), stderr=err)
    assert not Adapter.objects.exists()
    assert not Run.objects.exists()
    assert not RawFile.objects.exists()
    assert not Instrument.objects.exists()
    return f"{err.getvalue()}{error.value}"


def restated(files: Files) -> Files:
    """The files with a descriptor that states them as they are now."""
    content = json.loads(files["datapackage.json"])
    kept = [item for item in content["resources"] if item["path"] in files]
    for item in kept:
        item["bytes"] = len(files[item["path"]])
        item["hash"] = f"sha256:{sha256(files[item['path']]).hexdigest()}"
    content["resources"] = kept
    return {**files, "datapackage.json": json.dumps(content).encode()}


def changed(files: Files, name: str, change: Callable[[list[list[str]]], Any]) -> Files:
    """The files with another table `name`, stated as it is."""
    rows = list(csv.reader(io.StringIO(files[name].decode("utf-8"), newline="")))
    change(rows)
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return restated({**files, name: text.getvalue().encode("utf-8")})


def with_cell(column: str, cell: str) -> Callable[[list[list[str]]], None]:
    """A change of the first row."""

    def change(rows: list[list[str]]) -> None:
        rows[1][rows[0].index(column)] = cell

    return change


@pytest.mark.parametrize("name", ["values.csv", "details.csv", "profile.json"])
def test_a_byte_that_was_tampered_with_is_found(built: Built, tmp_path: Path, name: str) -> None:
    files = bench.contents(built.plain)
    middle = len(files[name]) // 2
    files[name] = files[name][:middle] + b"7" + files[name][middle + 1 :]
    if files[name] == bench.contents(built.plain)[name]:
        files[name] = files[name][:middle] + b"8" + files[name][middle + 1 :]

    assert f"“{name}” differs from datapackage.json" in refused(
        bench.packed(tmp_path / "p.zip", files)
    )


def test_a_raw_file_that_was_tampered_with_is_found(built: Built, tmp_path: Path) -> None:
    files = bench.contents(built.raw)
    name = next(name for name in files if name.startswith("raw/") and len(name) > 40)
    files[name] += b"\n"
    assert f"“{name}” has" in refused(bench.packed(tmp_path / "p.zip", files))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (("values", "value", "1,5"), "values.csv, row 1, value: “1,5” is no number."),
        (("values", "value", "nan"), "values.csv, row 1, value: “nan” is no number."),
        (("values", "value", ""), "values.csv, row 1, value: This cell must not be empty."),
        (("values", "adapter", "stranger"), "values.csv, row 1, adapter: adapters.csv has no"),
        (("runs", "id", "17"), "runs.csv, row 1, id: “17” is no uuid."),
        (("runs", "kind", "smell"), "runs.csv, row 1, kind: this release has no kind “smell”"),
        (("runs", "mains_v", "400.0"), "runs.csv, row 1, mains_v: 400 V is outside both mains"),
        (("runs", "unit", "other"), "runs.csv, row 1, adapter, unit: units.csv has no"),
        (("records", "standing", "provisional"), "records.csv, row 1, standing: “provisional”"),
        (("records", "received_at", "2026-01-01T00:00:00"), "records.csv, row 1, received_at"),
        (("records", "problems", "[NaN]"), "records.csv, row 1, problems: “[NaN]” is no array."),
        (("details", "details", "[" * 5000), "details.csv, row 1, details:"),
        (("files", "size", "12.5"), "files.csv, row 1, size: “12.5” is no integer."),
        (("adapters", "publish_on", "soon"), "adapters.csv, row 1, publish_on: “soon” is no date."),
    ],
)
def test_a_wrong_cell_is_named_by_table_row_and_column(
    built: Built, tmp_path: Path, wrong: tuple[str, str, str], said: str
) -> None:
    table, column, cell = wrong
    files = changed(bench.contents(built.plain), f"{table}.csv", with_cell(column, cell))
    assert said in refused(bench.packed(tmp_path / "p.zip", files))


def test_all_wrong_rows_are_named_at_once(built: Built, tmp_path: Path) -> None:
    def spoil(rows: list[list[str]]) -> None:
        for row in rows[1:4]:
            row[rows[0].index("label")] = ""

    said = refused(
        bench.packed(tmp_path / "p.zip", changed(bench.contents(built.plain), "ports.csv", spoil))
    )
    assert [f"ports.csv, row {number}, label" in said for number in (1, 2, 3, 4)] == [
        *(True, True, True),
        False,
    ]


def test_a_row_that_stands_twice_is_found(built: Built, tmp_path: Path) -> None:
    files = changed(bench.contents(built.plain), "makers.csv", lambda rows: rows.append(rows[1]))
    assert "a row of this key stands there twice" in refused(
        bench.packed(tmp_path / "p.zip", files)
    )


def test_what_the_database_cannot_hold_together_is_refused(built: Built, tmp_path: Path) -> None:
    files = changed(bench.contents(built.plain), "adapters.csv", with_cell("rated_power_w", "-5.0"))
    said = refused(bench.packed(tmp_path / "p.zip", files))
    assert "adapters.csv: its rows contradict each other or what this site has" in said


def test_an_unknown_column_and_a_missing_one_are_named(built: Built, tmp_path: Path) -> None:
    def rename(rows: list[list[str]]) -> None:
        rows[0][0] = "colour"

    files = changed(bench.contents(built.plain), "makers.csv", rename)
    assert "makers.csv: unknown columns: colour." in refused(
        bench.packed(tmp_path / "p.zip", files)
    )


def test_a_missing_table_and_an_unknown_one_are_named(built: Built, tmp_path: Path) -> None:
    files = bench.contents(built.plain)
    del files["verdicts.csv"]
    content = json.loads(restated(files)["datapackage.json"])
    other = {**content["resources"][0], "name": "odours", "path": "odours.csv"}
    content["resources"].append(other)
    files |= {
        "odours.csv": files[content["resources"][0]["path"]],
        "datapackage.json": json.dumps(content).encode(),
    }
    said = refused(bench.packed(tmp_path / "p.zip", files))
    assert "verdicts.csv is missing." in said
    assert "odours.csv: there is no such table in this release." in said


def test_a_file_that_nobody_states_is_refused(built: Built, tmp_path: Path) -> None:
    files = {**bench.contents(built.plain), "raw/more.csv": b"x"}
    assert "raw/more.csv: datapackage.json does not state this file." in refused(
        bench.packed(tmp_path / "p.zip", files)
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda c: c["brickledger"].update(profileVersion="2.0"), "of version 2.0 of its profile"),
        (lambda c: c.pop("brickledger"), "another kind of package"),
        (lambda c: c.update({"$schema": "https://example.org/"}), "another kind of package"),
        (lambda c: c["resources"][0].pop("hash"), "a resource without path, bytes or sha256"),
        (lambda c: c["resources"][0].update(hash="0" * 32), "a resource without path, bytes"),
        (lambda c: c.pop("resources"), "has no list of resources"),
        (lambda c: c["resources"].append(3), "a resource without path, bytes or sha256"),
    ],
)
def test_a_descriptor_of_another_kind_is_refused(
    built: Built, tmp_path: Path, change: Callable[[Any], Any], said: str
) -> None:
    files = bench.contents(built.plain)
    content = json.loads(files["datapackage.json"])
    change(content)
    files["datapackage.json"] = json.dumps(content).encode()
    assert said in refused(bench.packed(tmp_path / "p.zip", files))


def test_what_is_no_package_is_refused(built: Built, tmp_path: Path) -> None:
    (tmp_path / "text.zip").write_bytes(b"adapter,kind\n")
    assert "cannot be opened as a zip" in refused(tmp_path / "text.zip")
    assert "There is no file" in refused(tmp_path / "nothing.zip")
    assert "intake" in refused(bench.packed(tmp_path / "runs.zip", {"runs.csv": b"adapter\n"}))
    whole = built.plain.read_bytes()
    (tmp_path / "cut.zip").write_bytes(whole[: len(whole) // 2])
    assert "cut off" in refused(tmp_path / "cut.zip")


def test_a_site_that_has_something_already_is_left_alone(built: Built) -> None:
    adapter = make_adapter()
    with pytest.raises(Unfit, match="it has 1 adapters"):
        importing.take_in(built.plain)
    assert Adapter.objects.get() == adapter
    assert not Run.objects.exists()


def test_a_failing_disk_writes_no_row(
    built: Built, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    def full(*_: Any) -> Any:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(RawStore, "keep", full)
    assert "No space left on device" in refused(built.raw)


def test_an_interruption_writes_no_row(built: Built, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr("comparisons.packages.importing.Ledger.turn", interrupt)
    assert "Interrupted; no row was taken in." in refused(built.plain)
