"""The bulk commands: intake, recompute, verify_store."""

from __future__ import annotations

import hashlib
import io
import json
import stat
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.core.management.base import CommandError
from pytest_django.fixtures import Settings

from catalog.models import Adapter
from measurements import processing, queries
from measurements.management.commands import intake as intake_command
from measurements.management.stores import Limits
from measurements.models import Instrument, RawFile, Run, Value
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted, make_meter, no_load_log, ready, receive
from tests.factories.workbooks import make_workbook

pytestmark = pytest.mark.django_db

GOOD = no_load_log(0.05)
OTHER = no_load_log(0.06)
FAULTY = b"time_s,input_power_w\n0,0.1\n1,-0.1\n2,0.1\n"
RUNS = "adapter,kind,file,mains_v\nnorthfold-solo-65,no-load,a.csv,230\n"


def run_command(name: str, *arguments: object, **options: Any) -> tuple[str, str]:
    """What a command says, on standard output and standard error. Raises `CommandError`."""
    out, err = io.StringIO(), io.StringIO()
    call_command(name, *map(str, arguments), stdout=out, stderr=err, **options)
    return out.getvalue(), err.getvalue()


def refused(name: str, *arguments: object) -> tuple[str, str, str]:
    """The same for a command that must fail: its output, its complaints, its last word."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(CommandError) as error:
        call_command(name, *map(str, arguments), stdout=out, stderr=err)
    assert error.value.returncode == 1
    return out.getvalue(), err.getvalue(), str(error.value)


def as_folder(root: Path, files: Mapping[str, str | bytes]) -> Path:
    """A package as a folder."""
    for name, content in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return root


def as_zip(root: Path, files: Mapping[str, str | bytes]) -> Path:
    """The same package as a zip."""
    path = root / "package.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return path


@pytest.fixture(params=[as_folder, as_zip], ids=["folder", "zip"])
def pack(request: pytest.FixtureRequest, tmp_path: Path) -> Any:
    """Make a package of files, as a folder and as a zip."""
    place = tmp_path / "package"
    place.mkdir()
    return lambda files: request.param(place, files)


# intake


def test_a_package_is_taken_in_and_a_repetition_changes_nothing(pack: Any) -> None:
    make_adapter()
    package = pack({"runs.csv": RUNS, "a.csv": GOOD})
    assert run_command("intake", package)[0] == (
        "1 read: 1 taken in, 0 already there, 0 refused.\n"
    )
    run = Run.objects.get()
    assert (run.file_name, run.line, run.state) == ("a.csv", "high", "received")
    assert queries.raw_store().path(run.raw_id).read_bytes() == GOOD
    assert run_command("intake", package)[0] == (
        "1 read: 0 taken in, 1 already there, 0 refused.\n"
    )
    assert Run.objects.get() == run


def test_every_field_of_a_row_reaches_the_run(pack: Any) -> None:
    adapter = make_adapter()
    make_meter()
    make_meter(name="Second meter; shunt".replace(";", ","))
    row = {
        "adapter": adapter.slug,
        "kind": "efficiency",
        "file": "logs/sweep.csv",
        "unit": "NF-7",
        "measured_at": "2026-04-04T14:30:00+02:00",
        "mains_v": "115",
        "mains_hz": "60",
        "ambient_c": "23.5",
        "port": "C1",
        "instruments": "Bench meter; Second meter, shunt",
        "note": "after a warm-up of 30 min, as always",
        "lead_resistance_ohm": "0.012",
    }
    cells = [f'"{cell}"' for cell in row.values()]
    pack_ = pack({"runs.csv": f"{','.join(row)}\n{','.join(cells)}\n", "logs/sweep.csv": GOOD})
    run_command("intake", pack_)
    run = Run.objects.get()
    assert run.unit.serial == "NF-7"
    assert run.measured_at is not None
    assert run.measured_at.isoformat() == "2026-04-04T12:30:00+00:00"
    assert (run.mains_v, run.mains_hz, run.ambient_c, run.line) == (115.0, 60.0, 23.5, "low")
    assert run.port is not None
    assert run.port.label == "C1"
    assert run.instruments.count() == 2
    assert run.method_fields == {"lead_resistance_ohm": 0.012}
    assert (run.note, run.file_name) == ("after a warm-up of 30 min, as always", "sweep.csv")
    assert run.received_by is not None
    assert not run.received_by.has_usable_password()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_a_table_as_a_spreadsheet_saves_it_is_understood(encoding: str, pack: Any) -> None:
    make_adapter()
    table = (
        "adapter;kind;file;mains_v;note\r\nnorthfold-solo-65;no-load;a.csv;229,8;Wärme\r\n;;;;\r\n"
    )
    run_command("intake", pack({"runs.csv": table.encode(encoding), "a.csv": GOOD}))
    run = Run.objects.get()
    assert (run.mains_v, run.note) == (229.8, "Wärme")


def test_what_is_refused_is_named_by_line_and_field_and_the_rest_is_taken_in(pack: Any) -> None:
    make_adapter()
    rows = (
        "northfold-solo-65,no-load,a.csv,230,",
        "no-such-thing,no-load,a.csv,230,",
        "northfold-solo-65,no-load,a.csv,150,",
        "northfold-solo-65,no-load,absent.csv,230,",
        "northfold-solo-65,no-load,empty.csv,230,",
        "northfold-solo-65,no-load,,230,",
        "northfold-solo-65,no-load,a.csv,230,0.01",
        "northfold-solo-65,no-load,b.csv,230,",
    )
    package = pack(
        {
            "runs.csv": "adapter,kind,file,mains_v,lead_resistance_ohm\n" + "\n".join(rows),
            "a.csv": GOOD,
            "b.csv": OTHER,
            "empty.csv": b"",
        }
    )
    out, err, last = refused("intake", package)
    assert out == "8 read: 2 taken in, 0 already there, 6 refused.\n"
    lines = err.splitlines()
    assert [line.split(": ")[0] for line in lines] == [
        "runs.csv, line 3, adapter",
        "runs.csv, line 4, mains_v",
        "runs.csv, line 5, file",
        "runs.csv, line 6, file",
        "runs.csv, line 7, file",
        "runs.csv, line 8, lead_resistance_ohm",
    ]
    assert "no-such-thing" in lines[0]
    assert "150 V is outside both mains ranges" in lines[1]
    assert "absent.csv" in lines[2]
    assert last.startswith("6 ")
    assert Run.objects.count() == 2


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("adapter,kind,mains_v\nx,no-load,230\n", "column file is missing"),
        ("adapter,kind,file,mians_v\nx,no-load,a.csv,230\n", "No column is called 'mians_v'"),
        ("adapter,kind,file\n", "no rows"),
        ("adapter,kind,file,kind\nx,no-load,a.csv,y\n", "stands there twice"),
        ("adapter,kind,file\nx,no-load\n", "line 2: 2 cells under 3 headings"),
        ('adapter,kind,file\nx,"no-load,a.csv\n', "not readable as CSV"),
        (b"adapter,kind,file\nx,no-load,\0\n", "NUL"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused_as_a_whole(
    table: str | bytes, said: str, pack: Any
) -> None:
    make_adapter()
    _, _, last = refused("intake", pack({"runs.csv": table, "a.csv": GOOD}))
    assert "runs.csv" in last
    assert said in last
    assert not Run.objects.exists()


@pytest.mark.parametrize("name", ["../a.csv", "/etc/hostname", "x/../../a.csv", "c:a.csv", "a\\b"])
def test_a_row_cannot_name_a_file_outside_the_package(name: str, pack: Any, tmp_path: Path) -> None:
    make_adapter()
    (tmp_path / "a.csv").write_bytes(GOOD)
    package = pack({"runs.csv": RUNS.replace("a.csv", name)})
    _, err, _ = refused("intake", package)
    assert "not a name inside the package" in err
    assert not RawFile.objects.exists()


def test_a_link_in_a_folder_is_not_followed(tmp_path: Path) -> None:
    make_adapter()
    (tmp_path / "secret.csv").write_bytes(GOOD)
    package = as_folder(tmp_path / "package", {"runs.csv": RUNS})
    (package / "a.csv").symlink_to(tmp_path / "secret.csv")
    _, err, _ = refused("intake", package)
    assert "is a link" in err
    assert not RawFile.objects.exists()


def add_member(path: Path, info: zipfile.ZipInfo, content: bytes) -> Path:
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(info, content)
    return path


def test_a_zip_with_a_name_that_leads_out_is_refused_as_a_whole(tmp_path: Path) -> None:
    make_adapter()
    package = as_zip(tmp_path, {"runs.csv": RUNS, "a.csv": GOOD, "../../evil.csv": b"x"})
    assert "not a name inside the package" in refused("intake", package)[2]
    assert not Run.objects.exists()


def test_a_zip_with_a_link_is_refused_as_a_whole(tmp_path: Path) -> None:
    make_adapter()
    link = zipfile.ZipInfo("b.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    package = add_member(as_zip(tmp_path, {"runs.csv": RUNS, "a.csv": GOOD}), link, b"/etc/passwd")
    assert "is a link" in refused("intake", package)[2]


def test_an_encrypted_zip_is_refused_as_a_whole(tmp_path: Path) -> None:
    package = as_zip(tmp_path, {"runs.csv": RUNS})
    content = bytearray(package.read_bytes())
    # Bit 0 of the general purpose flag, in the central directory (APPNOTE 4.4.4).
    content[content.index(b"PK\x01\x02") + 8] |= 1
    package.write_bytes(content)
    assert "encrypted" in refused("intake", package)[2]


def test_a_zip_that_unpacks_to_far_more_than_it_is_is_refused(tmp_path: Path) -> None:
    package = as_zip(tmp_path, {"runs.csv": RUNS, "a.csv": b"0\n" * 2_000_000})
    assert "which no log does" in refused("intake", package)[2]


def test_a_zip_of_too_many_members_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = Limits(members=2, unpacked_bytes=1 << 20, rows=9)
    monkeypatch.setattr(intake_command, "IN_BULK", limits)
    package = as_zip(tmp_path, {"runs.csv": RUNS, "a.csv": GOOD, "b.csv": OTHER})
    assert "2 are taken at once" in refused("intake", package)[2]


def test_a_zip_of_too_many_bytes_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = Limits(members=9, unpacked_bytes=1000, rows=9)
    monkeypatch.setattr(intake_command, "IN_BULK", limits)
    package = as_zip(tmp_path, {"runs.csv": RUNS, "a.csv": GOOD})
    assert "Split it" in refused("intake", package)[2]


def test_a_member_with_flipped_bits_is_refused_and_nothing_of_it_kept(tmp_path: Path) -> None:
    make_adapter()
    package = tmp_path / "package.zip"
    with zipfile.ZipFile(package, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("runs.csv", RUNS)
        archive.writestr("a.csv", GOOD)
    content = bytearray(package.read_bytes())
    content[content.index(GOOD) + 100] ^= 1
    package.write_bytes(content)
    _, err, _ = refused("intake", package)
    assert "runs.csv, line 2, file: “a.csv” cannot be unpacked" in err
    assert not RawFile.objects.exists()


def test_what_is_no_zip_is_refused(tmp_path: Path) -> None:
    (tmp_path / "package.zip").write_bytes(b"PK but not really")
    assert "cannot be opened as a zip" in refused("intake", tmp_path / "package.zip")[2]


def test_a_zip_of_a_folder_is_understood(tmp_path: Path) -> None:
    make_adapter()
    package = as_zip(tmp_path, {"season/runs.csv": RUNS, "season/a.csv": GOOD, "notes.txt": "x"})
    run_command("intake", package)
    assert Run.objects.count() == 1


def test_hashes_and_sizes_of_a_data_package_are_checked(pack: Any) -> None:
    make_adapter()
    rows = RUNS + "".join(
        f"northfold-solo-65,no-load,{name},230\n" for name in ("b.csv", "c.csv", "d.csv")
    )
    resources = [
        {"path": "a.csv", "bytes": len(GOOD), "hash": f"sha256:{hashlib.sha256(GOOD).hexdigest()}"},
        {"path": "b.csv", "hash": f"sha256:{hashlib.sha256(GOOD).hexdigest()}"},
        {"path": "c.csv", "bytes": 12},
        # Data Package v2: a hash without prefix is MD5.
        {"path": "d.csv", "hash": hashlib.md5(FAULTY).hexdigest()},
    ]
    package = pack(
        {
            "runs.csv": rows,
            "a.csv": GOOD,
            "b.csv": OTHER,
            "c.csv": OTHER,
            "d.csv": FAULTY,
            "datapackage.json": json.dumps({"resources": resources}),
        }
    )
    out, err, _ = refused("intake", package)
    assert out == "4 read: 2 taken in, 0 already there, 2 refused.\n"
    assert "line 3, file: “b.csv” differs from datapackage.json" in err
    assert "line 4, file: “c.csv” has" in err


@pytest.mark.parametrize(
    "descriptor", ["{", "[]", '{"resources": 3}', '{"resources": [{"path": "a", "hash": "x:y"}]}']
)
def test_a_descriptor_that_cannot_be_read_is_refused(descriptor: str, pack: Any) -> None:
    package = pack({"runs.csv": RUNS, "a.csv": GOOD, "datapackage.json": descriptor})
    message = refused("intake", package)[2]
    assert "datapackage.json" in message
    assert "Mend it, or leave it out." in message
    assert "Error" not in message.replace("CommandError", "")


def test_resources_that_are_no_single_file_state_nothing(pack: Any) -> None:
    make_adapter()
    resources = '{"resources": [{"path": 1}, {"path": null}, 7, {"path": ["a.csv"]}]}'
    package = pack({"runs.csv": RUNS, "a.csv": GOOD, "datapackage.json": resources})
    assert "1 taken in" in run_command("intake", package)[0]


def test_a_workbook_that_the_options_describe_is_the_data_file_of_one_run(tmp_path: Path) -> None:
    adapter = make_adapter()
    path = tmp_path / "log.xlsx"
    content = make_workbook({"log": [["time_s", "input_power_w"], [0, 0.05]]})
    path.write_bytes(content)
    run_command("intake", path, adapter=adapter.slug, kind="no-load", mains_v="230")
    run = Run.objects.get()
    assert run.file_name == "log.xlsx"
    assert queries.raw_store().path(run.raw_id).read_bytes() == content
    assert "no worksheet “runs”" in refused("intake", path)[2]


def test_adapters_and_ports_come_along_and_known_ones_stay_as_they_are(pack: Any) -> None:
    make_adapter(mass_g=99)
    package = pack(
        {
            "runs.csv": RUNS + "fenbrook-duo-45,no-load,b.csv,230\n",
            "a.csv": GOOD,
            "b.csv": OTHER,
            "adapters.csv": "maker,name,rated_power_w,mass_g,publish_on\n"
            "Northfold,Solo 65,65,120,\nFenbrook,Duo 45,45,80,2026-12-24\n",
            "ports.csv": "adapter,label,connector,rated_power_w,protocols\n"
            "fenbrook-duo-45,C1,usb-c,45,usb-pd;usb-pd-pps\nfenbrook-duo-45,A1,usb-a,,\n",
        }
    )
    for said in ("1 written down, 1 known already", "0 written down, 2 known already"):
        assert said in run_command("intake", package)[0]
    adapter = Adapter.objects.get(slug="fenbrook-duo-45")
    assert (adapter.mass_g, str(adapter.publish_on)) == (80.0, "2026-12-24")
    ports = adapter.ports.order_by("position")
    assert [(port.label, port.rated_power_w) for port in ports] == [("C1", 45.0), ("A1", None)]
    assert ports[0].protocols.count() == 2
    assert Adapter.objects.get(slug="northfold-solo-65").mass_g == 99


def test_an_adapter_that_contradicts_itself_is_refused_and_leaves_no_maker(pack: Any) -> None:
    package = pack(
        {
            "runs.csv": "adapter,kind,file,mains_v\nfenbrook-duo-45,no-load,a.csv,230\n",
            "a.csv": GOOD,
            "adapters.csv": "maker,name,rated_power_w\nFenbrook,Duo 45,-4\n",
        }
    )
    _, err, last = refused("intake", package)
    assert "adapters.csv, line 2: Rated power lies between 0 and 10,000 W." in err
    assert "runs.csv, line 2, adapter" in err
    assert last.startswith("2 ")
    assert not Adapter.objects.exists()


def test_accepting_computes_the_runs_and_lets_their_values_stand(pack: Any) -> None:
    make_adapter()
    package = pack(
        {
            "runs.csv": RUNS + "northfold-solo-65,no-load,b.csv,115\n",
            "a.csv": GOOD,
            "b.csv": OTHER,
        }
    )
    out, _ = run_command("intake", package, "--accept")
    assert "2 stand, 0 could not be accepted" in out
    standing = Value.objects.current().filter(metric="no-load-power")
    assert sorted(standing.values_list("line", flat=True)) == ["high", "low"]
    out, _ = run_command("intake", package, "--accept")
    assert "2 stand" in out
    assert standing.count() == 2


def test_a_file_that_cannot_be_computed_is_not_accepted_and_says_why(pack: Any) -> None:
    make_adapter()
    out, err, _ = refused("intake", pack({"runs.csv": RUNS, "a.csv": FAULTY}), "--accept")
    assert "0 stand, 1 could not be accepted" in out
    assert "rejected: line 3:" in err


def test_runs_are_accepted_in_the_name_of_the_editor_who_is_named(pack: Any, editor: Any) -> None:
    make_adapter()
    package = pack({"runs.csv": RUNS, "a.csv": GOOD})
    run_command("intake", package, "--accept", "--user", editor.username)
    run = Run.objects.get()
    assert run.received_by == editor
    assert run.events.get(what="accepted").by == editor


def test_nobody_acts_beyond_their_role(pack: Any, person: Any) -> None:
    make_adapter()
    package = pack({"runs.csv": RUNS, "a.csv": GOOD})
    reader, reviewer = person("reader"), person("reviewer")
    assert "may not take in" in refused("intake", package, "--user", reader.username)[2]
    assert "may not accept" in refused("intake", package, "--accept", "--user", reviewer)[2]
    assert "No active account" in refused("intake", package, "--user", "ghost")[2]
    assert not Run.objects.exists()


def test_one_file_is_taken_in_as_the_options_describe_it(tmp_path: Path) -> None:
    make_adapter()
    make_meter()
    path = tmp_path / "standby log.csv"
    path.write_bytes(GOOD)
    said = ["--adapter", "northfold-solo-65", "--kind", "no-load", "--mains-v", "230"]
    run_command("intake", path, *said, "--instrument", "Bench meter", "--unit", "7")
    run = Run.objects.get()
    assert (run.file_name, run.unit.serial) == ("standby log.csv", "7")
    assert run.instruments.get() == Instrument.objects.get()


def test_one_file_without_a_description_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(GOOD)
    assert "--adapter and --kind" in refused("intake", path)[2]
    said = ["--adapter", "x", "--kind", "no-load"]
    assert "NAME=VALUE" in refused("intake", path, *said, "--field", "nonsense=1")[2]
    assert "NAME=VALUE" in refused("intake", path, *said, "--field", "note")[2]


def test_a_package_takes_no_description_by_options(pack: Any) -> None:
    package = pack({"runs.csv": RUNS, "a.csv": GOOD})
    assert "go with one data file" in refused("intake", package, "--mains-v", "230")[2]


def test_a_place_with_nothing_in_it_is_refused(tmp_path: Path) -> None:
    assert "nothing at" in refused("intake", tmp_path / "absent")[2]
    assert "runs.csv is missing" in refused("intake", tmp_path)[2]


def test_a_file_over_the_limit_is_refused(pack: Any, settings: Settings) -> None:
    make_adapter()
    settings.MAX_UPLOAD_BYTES = 1000
    _, err, _ = refused("intake", pack({"runs.csv": RUNS, "a.csv": GOOD}))
    assert "larger than the 1,000 bytes" in err


def test_a_full_disk_stops_the_intake_and_says_what_is_safe(
    pack: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_adapter()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("measurements.intake.rawstore.RawStore.keep", full)
    _, _, last = refused("intake", pack({"runs.csv": RUNS, "a.csv": GOOD}))
    assert "No space left" in last
    assert "is safe" in last


def test_the_command_line_account_is_made_once_and_cannot_sign_in(pack: Any) -> None:
    make_adapter()
    package = pack({"runs.csv": RUNS, "a.csv": GOOD})
    run_command("intake", package)
    run_command("intake", package)
    account = User.objects.get()
    assert account.username == "command-line"
    assert not account.has_usable_password()
    assert not account.is_staff
    assert not account.is_superuser


# recompute


def test_recomputing_without_a_change_changes_nothing(editor: Any) -> None:
    accepted(make_adapter(), by=editor)
    out, _ = run_command("recompute")
    assert out.splitlines() == ["1 runs recomputed, 0 values changed.", "1 ready"]


def test_recomputing_counts_the_values_that_changed(editor: Any) -> None:
    run = accepted(make_adapter(), by=editor)
    run.instruments.add(make_meter())
    assert "2 values changed" in run_command("recompute")[0]
    assert run.values.current().count() == 2
    assert "0 values changed" in run_command("recompute")[0]


def test_recompute_takes_only_what_was_asked_for(editor: Any) -> None:
    first, second = make_adapter(), make_adapter("Duo 45")
    ready(first)
    ready(second, no_load_log(0.07))
    assert "1 runs recomputed" in run_command("recompute", "--adapter", first.slug)[0]
    assert "0 runs recomputed" in run_command("recompute", "--kind", "thermal")[0]
    assert "2 runs recomputed" in run_command("recompute", "--kind", "no-load")[0]


def test_recompute_leaves_withdrawn_runs_and_tries_those_set_aside(editor: Any) -> None:
    adapter = make_adapter()
    withdrawn = ready(adapter)
    Run.objects.filter(pk=withdrawn.pk).update(
        standing="withdrawn", withdrawn_at="2026-01-01T00:00Z", withdrawn_reason="x"
    )
    aside = receive(adapter, OTHER)
    Run.objects.filter(pk=aside.pk).update(state="set-aside", attempts=4, error="x")
    assert run_command("recompute")[0].splitlines()[-1] == "1 ready"
    withdrawn.refresh_from_db()
    assert withdrawn.fence == 1


def test_recompute_fails_when_a_run_could_not_be_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    receive(make_adapter())

    def broken(*_: object) -> None:
        raise RuntimeError("a worm in the wire")

    monkeypatch.setattr(processing, "_measure", broken)
    out, _, last = refused("recompute")
    assert "1 received" in out
    assert last.startswith("1 runs could not be computed")


def test_recompute_refuses_a_kind_or_an_adapter_that_is_not_there() -> None:
    assert "no-load" in refused("recompute", "--kind", "noload")[2]
    assert "No adapter" in refused("recompute", "--adapter", "ghost")[2]


# verify_store


def test_an_intact_store_is_verified() -> None:
    adapter = make_adapter()
    receive(adapter, GOOD)
    receive(adapter, OTHER)
    assert run_command("verify_store")[0] == "2 raw files, all intact.\n"


def test_missing_and_altered_files_are_named_with_their_runs() -> None:
    adapter = make_adapter()
    lost, changed = receive(adapter, GOOD), receive(adapter, OTHER)
    store = queries.raw_store()
    store.path(lost.raw_id).unlink()
    path = store.path(changed.raw_id)
    path.chmod(0o644)
    path.write_bytes(OTHER.replace(b"0.06", b"0.05"))
    _, err, last = refused("verify_store")
    assert f"missing: {lost.raw_id}" in err
    assert f"altered: {changed.raw_id}" in err
    assert str(changed.pk) in err
    assert last.startswith("2 of 2 raw files")
