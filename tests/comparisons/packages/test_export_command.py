"""``export_package``: what it says, what it refuses, and what it leaves behind when it fails."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError

from comparisons.packages import exporting
from comparisons.packages.archives import PackageWriter
from measurements import queries
from measurements.management.packages import with_statements
from measurements.management.stores import IN_BULK, Archive
from tests.comparisons.packages import bench
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, no_load_log

pytestmark = pytest.mark.django_db


def refused(*arguments: object) -> CommandError:
    """The last word of an export that must fail."""
    with pytest.raises(CommandError) as error:
        call_command("export_package", *map(str, arguments), stdout=io.StringIO())
    return error.value


def test_it_says_what_is_in_the_package_and_its_hash(tmp_path: Path, editor: User) -> None:
    accepted(make_adapter(), no_load_log(), by=editor)
    said = bench.said_by("export_package", tmp_path / "out.zip", "--raw", "--parquet")

    assert "        1 runs\n" in said
    assert "        1 files\n" in said
    assert "content sha256:" in said
    assert [path.name for path in tmp_path.glob("*.zip")] == ["out.zip"]
    assert list(tmp_path.glob(".*")) == []


def test_an_empty_site_gives_a_package_that_an_empty_site_takes(tmp_path: Path) -> None:
    bench.said_by("export_package", tmp_path / "out.zip")
    said = bench.said_by("import_package", tmp_path / "out.zip")
    assert "        0 runs\n" in said


def test_a_file_that_is_there_is_replaced_only_by_force(tmp_path: Path) -> None:
    path = tmp_path / "out.zip"
    path.write_bytes(b"precious")
    assert "is there already" in str(refused(path))
    assert path.read_bytes() == b"precious"

    bench.said_by("export_package", path, "--force")
    assert zipfile.is_zipfile(path)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "There is no folder" in str(refused(tmp_path / "nowhere" / "out.zip"))


@pytest.mark.parametrize(
    ("fault", "said", "code"),
    [
        (KeyboardInterrupt(), "Interrupted; nothing was left behind.", 130),
        (OSError(28, "No space left on device"), "No space left on device", 1),
    ],
)
def test_what_breaks_off_leaves_no_half_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException, said: str, code: int
) -> None:
    path = tmp_path / "out.zip"
    path.write_bytes(b"of last week")
    whole, calls = PackageWriter.table, []

    def break_off(writer: PackageWriter, *arguments: Any) -> Any:
        calls.append(arguments)
        if len(calls) > 5:
            raise fault
        return whole(writer, *arguments)

    monkeypatch.setattr(PackageWriter, "table", break_off)
    error = refused(path, "--force")

    assert said in str(error)
    assert error.returncode == code
    assert path.read_bytes() == b"of last week"
    assert [item.name for item in tmp_path.iterdir() if item.name != "raw"] == ["out.zip"]


@pytest.mark.parametrize("limit", ["list", "zip"])
def test_a_package_that_nobody_could_read_again_is_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str
) -> None:
    if limit == "list":
        monkeypatch.setattr(exporting, "LARGEST_TABLE_BYTES", 1000)
    else:
        monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 10)
    assert "Leave the raw files out." in str(refused(tmp_path / "out.zip"))
    assert not (tmp_path / "out.zip").exists()


@pytest.mark.parametrize("damage", ["missing", "altered"])
def test_a_damaged_store_is_told_and_nothing_written(
    tmp_path: Path, editor: User, damage: str
) -> None:
    run = accepted(make_adapter(), no_load_log(), by=editor)
    stored = queries.raw_store().path(run.raw_id)
    stored.chmod(0o600)
    stored.unlink() if damage == "missing" else stored.write_bytes(b"time_s,input_power_w\n0,1\n")

    assert "verify_store" in str(refused(tmp_path / "out.zip", "--raw"))
    assert not (tmp_path / "out.zip").exists()


def test_a_file_that_packs_to_almost_nothing_is_stored_as_it_is(tmp_path: Path) -> None:
    # Deflate makes a thousandth of it, and whoever opens a zip takes that for a bomb.
    steady = b"0.000000\n" * 200_000
    noise = np.random.default_rng(1).bytes(300_000)
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as archive:
        writer = PackageWriter(archive)
        assert writer.file("steady.csv", lambda: iter([steady])).size == len(steady)
        writer.file("noise.bin", lambda: iter([noise[:100], noise[100:]]))

    with zipfile.ZipFile(tmp_path / "p.zip") as archive:
        package = with_statements(Archive(archive, IN_BULK))
        assert b"".join(package.chunks("steady.csv")) == steady
        assert b"".join(package.chunks("noise.bin")) == noise
