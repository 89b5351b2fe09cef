"""NumPy files: named arrays, fields, a sample rate for time, and nothing is ever unpickled."""

from __future__ import annotations

import io
import pickle
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from measurements.intake import series
from measurements.intake.columns import Column, Reading
from measurements.intake.records import MAX_ROWS
from measurements.intake.tables import read_table

WAVEFORM = (
    Column("ripple_mv_pp", "Ripple, peak to peak", "mVpp", required=False),
    Column("time_s", "Time", "s", required=False, aliases=("time", "t")),
    Column("voltage_v", "Output voltage", "V", required=False, aliases=("vbus",), maximum=100),
)
CHARGE = (
    Column("time_s", "Time", "s", aliases=("time",)),
    Column("voltage_v", "Voltage", "V"),
    Column("current_a", "Current", "A", required=False),
)
SCAN = (Column("port", "Port", "", type="text"), Column("position", "Position", "", required=False))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "log"


def read(file: Path, data: bytes, columns: tuple[Column, ...] = WAVEFORM) -> Reading:
    file.write_bytes(data)
    return read_table(file, columns, file_name="log")


def npy(array: NDArray[Any]) -> bytes:
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


def npz(**arrays: Any) -> bytes:
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


def zipped(*members: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


def header(text: str, *, version: int = 1, content: bytes = b"") -> bytes:
    form = "<H" if version == 1 else "<I"
    coded = text.encode("utf-8")
    return b"\x93NUMPY" + bytes([version, 0]) + struct.pack(form, len(coded)) + coded + content


def table(reading: Reading) -> dict[str, list[float]]:
    assert reading.problems == ()
    assert reading.table is not None
    return {name: column.tolist() for name, column in reading.table.columns.items()}


def refusal(reading: Reading) -> str:
    assert reading.table is None
    return reading.problems[0].detail


def test_arrays_are_columns_by_their_names(file: Path) -> None:
    reading = read(file, npz(**{"t [us]": [0, 1, 2], "Vbus/mV": [20000.0, 20010.0, 19990.0]}))
    found = table(reading)
    assert found["time_s"] == pytest.approx([0.0, 1e-6, 2e-6], rel=1e-12)
    assert found["voltage_v"] == pytest.approx([20.0, 20.01, 19.99], rel=1e-12)
    assert reading.table is not None
    assert reading.table.rows.tolist() == [1, 2, 3]
    told = " ".join(reading.notes)
    assert "‘log’ read as a NumPy archive of arrays. Rows are counted from 1" in told
    assert "‘Vbus/mV’ read as output voltage, mV → V." in told


@pytest.mark.parametrize("kind", ["<f2", ">f4", "<f8", ">f8", "<i2", ">i4", "<u4", "<i8", "u1"])
def test_every_type_of_number_is_read_whatever_its_byte_order(file: Path, kind: str) -> None:
    values = np.array([0, 5, 20], dtype=kind)
    assert table(read(file, npz(time_s=[0, 1, 2], voltage_v=values)))["voltage_v"] == [0, 5, 20]


def test_columns_may_lie_or_stand_and_be_packed(file: Path) -> None:
    out = io.BytesIO()
    np.savez_compressed(out, time_s=[[0, 1, 2]], voltage_v=[[1], [2], [3]])
    assert table(read(file, out.getvalue()))["voltage_v"] == [1, 2, 3]


def test_more_samples_than_a_block_are_read_in_order(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("measurements.intake.npz_members.ROWS_AT_ONCE", 7)
    monkeypatch.setattr("measurements.intake.numpy_files.ROWS_AT_ONCE", 7)
    values = np.arange(50.0)
    for data in (npz(time_s=values, voltage_v=values), npy(np.column_stack([values, values]))):
        found = table(read(file, data))
        assert found["voltage_v"] == found["time_s"] == values.tolist()


# time


@pytest.mark.parametrize(
    ("name", "value", "step"),
    [
        ("sample_rate_hz", 4.0, 0.25),
        ("sample_rate_hz", [4], 0.25),
        ("Sample rate [kHz]", 0.004, 0.25),
        ("fs_hz", np.float32(4), 0.25),
        ("sample_interval_s", 0.25, 0.25),
        ("dt [ms]", 250, 0.25),
    ],
)
def test_a_sample_rate_or_interval_gives_the_time(
    file: Path, name: str, value: object, step: float
) -> None:
    reading = read(file, npz(voltage_v=[1.0, 2.0, 3.0], **{name: value}))
    assert table(reading)["time_s"] == pytest.approx([0.0, step, 2 * step], rel=1e-12)
    assert any(f"from the first sample by ‘{name}’" in note for note in reading.notes)


def test_times_of_the_file_come_before_its_sample_rate(file: Path) -> None:
    reading = read(file, npz(t_s=[0, 3, 6], voltage_v=[1, 2, 3], sample_rate_hz=4.0))
    assert table(reading)["time_s"] == [0, 3, 6]
    assert any("left unread: ‘sample_rate_hz’" in note for note in reading.notes)


def test_a_single_value_is_no_column(file: Path) -> None:
    reading = read(file, npz(**{"t [s]": [0, 1], "x [V]": [1, 2], "offset [V]": 0.5}))
    assert table(reading)["voltage_v"] == [1, 2]
    assert any("left unread: ‘offset [V]’" in note for note in reading.notes)
    said = refusal(read(file, npz(time_s=[0, 1], voltage_v=20.0), CHARGE))
    assert "No column for voltage" in said


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf, "4", True, 1j])
def test_a_sample_rate_must_be_a_positive_number(file: Path, value: object) -> None:
    said = refusal(read(file, npz(voltage_v=[1.0, 2.0], sample_rate_hz=value)))
    assert "no positive number" in said


def test_a_sampling_stated_twice_is_for_the_sender_to_settle(file: Path) -> None:
    said = refusal(read(file, npz(voltage_v=[1, 2], sample_rate_hz=4.0, dt_s=0.25)))
    assert "stated by ‘sample_rate_hz’ and ‘dt_s’" in said


def test_a_rate_too_small_for_any_time_is_no_time(file: Path) -> None:
    reading = read(file, npz(voltage_v=[1.0, 2.0], sample_rate_hz=5e-324))
    assert "overrange" in refusal(reading)


def test_stamps_are_counted_from_the_first_to_the_tick(file: Path) -> None:
    stamps = np.array(["2026-01-31T14:05:00", "2026-01-31T14:05:00.000000001"], dtype="M8[ns]")
    reading = read(file, npz(time=stamps, voltage_v=[1, 2]))
    assert table(reading)["time_s"] == [0.0, 1e-9]
    assert any("counted from the first" in note for note in reading.notes)
    spans = np.array([1500, 3000], dtype="m8[ms]")
    assert table(read(file, npz(time=spans, voltage_v=[1, 2])))["time_s"] == [1.5, 3.0]
    words = ["14:05:00", "14:05:01.5"]
    assert table(read(file, npz(time=words, voltage_v=[1, 2])))["time_s"] == [0.0, 1.5]
    words = ["14:05:00", "five past"]
    reading = read(file, npz(time=words, voltage_v=[1, 2]))
    assert "‘five past’ is not a clock stamp" in refusal(reading)
    assert reading.problems[0].row == 2


def test_a_missing_stamp_is_a_blank(file: Path) -> None:
    stamps = np.array(["NaT", "2026-01-31", "2026-02-01"], dtype="M8[D]").astype("M8[s]")
    reading = read(file, npz(time=stamps, voltage_v=[1, 2, 3]), CHARGE)
    assert [(item.row, item.column) for item in reading.problems] == [(1, "time")]


def test_stamps_as_far_apart_as_can_be_stored_do_not_wrap_around(file: Path) -> None:
    far = np.array([-(2**63) + 1, 2**63 - 1], dtype=np.int64).view("M8[s]")
    found = table(read(file, npz(time=far, voltage_v=[1, 2])))
    assert found["time_s"] == pytest.approx([0.0, 2.0**64], rel=1e-12)


# without names


@pytest.mark.parametrize("order", ["C", "F"])
def test_two_columns_without_names_are_a_waveform(file: Path, order: Any) -> None:
    rows = np.array([[0.0, 20.0], [1e-6, 21.0], [2e-6, 19.0]], order=order)
    found = table(read(file, npy(rows)))
    assert found == {"time_s": [0.0, 1e-6, 2e-6], "voltage_v": [20.0, 21.0, 19.0]}


@pytest.mark.parametrize("array", [np.zeros(3), np.zeros((3, 3)), np.zeros((2, 5)), np.array(1.0)])
def test_any_other_array_without_names_is_asked_to_name_them(
    file: Path, array: NDArray[Any]
) -> None:
    said = refusal(read(file, npy(array)))
    assert "names no columns. Rows of time and voltage are read without names" in said
    assert ".npz with one array a column" in said


def test_a_run_of_more_than_a_waveform_needs_names(file: Path) -> None:
    needs_current = (*CHARGE[:2], Column("current_a", "Current", "A"))
    said = refusal(read(file, npy(np.zeros((3, 2))), needs_current))
    assert "names no columns. Save an .npz" in said


def test_fields_of_a_structured_array_are_columns(file: Path) -> None:
    fields = np.zeros(2, dtype=[("Zeit", "S1"), ("time (ms)", ">u2"), ("Größe", "<f4", 2)])
    fields["time (ms)"] = [0, 500]
    reading = read(file, npy(fields))
    assert table(reading) == {"time_s": [0.0, 0.5]}
    assert any("‘Zeit’, ‘Größe’" in note for note in reading.notes)
    assert "2 dimensions" in refusal(read(file, npy(fields.reshape(1, 2))))
    alone = np.zeros(1, dtype=[("time_s", "f8", (3,)), ("voltage_v", "f8")])
    assert "‘time_s’ is stored as a table of 1 × 3 values" in refusal(read(file, npy(alone)))
    standing = np.zeros(2, dtype=[("time_s", "f8", (1,)), ("voltage_v", "f8")])
    assert table(read(file, npy(standing)))["time_s"] == [0.0, 0.0]
    nested = np.zeros(2, dtype=[("time_s", "f8"), ("voltage_v", [("x", "f8")])])
    assert "‘voltage_v’ is stored as" in refusal(read(file, npy(nested)))


# what columns must hold


def test_texts_are_read_for_columns_of_text(file: Path) -> None:
    for words in (np.array([" C1", "C2 "]), np.array([b"C1", b"C2"])):
        reading = read(file, npz(port=words, position=[1, 2]), SCAN)
        assert reading.table is not None
        assert reading.table.texts == {"port": ("C1", "C2")}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (np.array(["C1", ""]), "every row needs port"),
        (np.array([1, 2]), "must be stored as text"),
        (np.array(["\ud800", "C1"]), "the file is damaged"),
        (np.array([b"\xff", b"C1"]), "the file is damaged"),
        (np.array(["x" * 300, "C1"]), "at most 200"),
        (np.array(["x" * 3000, "C1"]), "must be stored as text"),
    ],
)
def test_a_bad_text_is_a_problem(file: Path, words: NDArray[Any], said: str) -> None:
    assert said in refusal(read(file, npz(port=words), SCAN))


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (np.array([True, False]), "stored as bool"),
        (np.array([1j, 2j]), "stored as complex128"),
        (np.array(["1", "2"]), "stored as text"),
        (np.zeros((2, 2)), "a table of 2 × 2 values"),
        (np.array(["2026-01-01", "2026-01-02"], dtype="M8[s]"), "must be stored as numbers"),
    ],
)
def test_what_is_no_column_of_numbers_is_named(file: Path, values: NDArray[Any], said: str) -> None:
    reading = read(file, npz(time_s=[0.0, 1.0], voltage_v=values))
    assert said in refusal(reading)
    assert reading.problems[0].column == "voltage_v"


def test_every_bad_value_is_named_by_its_row(file: Path) -> None:
    volts = [20.0, np.nan, np.inf, 1e5]
    reading = read(file, npz(time_s=[0, 1, 2, 3], voltage_v=volts), CHARGE)
    assert [(item.row, item.column) for item in reading.problems] == [
        (2, "voltage_v"),
        (3, "voltage_v"),
    ]
    assert "blank" in reading.problems[0].detail
    assert "overrange" in reading.problems[1].detail
    reading = read(file, npz(time_s=[0, 1], voltage_v=[20.0, 1e5]))
    assert "‘100000.0’ is 100000 V, but output voltage is always at most 100 V" in refusal(reading)
    many = read(file, npz(time_s=np.arange(500), voltage_v=np.full(500, np.nan)), CHARGE)
    assert many.problem_count == 500
    assert len(many.problems) == 200
    # An optional value may be missing.
    assert np.isnan(table(read(file, npz(time_s=[0, 1], voltage_v=[20.0, np.nan])))["voltage_v"][1])


def test_a_time_without_unit_and_a_column_that_lacks(file: Path) -> None:
    assert "names no unit" in refusal(read(file, npz(time=[0, 1], voltage_v=[1, 2])))
    said = refusal(read(file, npz(arr_0=[0, 1]), CHARGE))
    assert "No column for time. Headings found: ‘arr_0’" in said
    said = refusal(read(file, npz(arr_0=[0, 1])))
    assert "known to this kind of run" in said
    assert "‘arr_0’" in said
    spans = np.array([1, 2], dtype="m8[s]")
    assert "another unit" in refusal(read(file, npz(**{"t [ms]": spans}, voltage_v=[1, 2])))


def test_columns_of_different_length_or_without_rows_are_refused(file: Path) -> None:
    said = refusal(read(file, npz(time_s=[0, 1, 2], voltage_v=[1, 2])))
    assert "‘time_s’ 3, ‘voltage_v’ 2" in said
    assert "no rows" in refusal(read(file, npz(time_s=[], voltage_v=[])))
    assert "no rows" in refusal(read(file, npy(np.zeros((0, 2)))))
    # Of another length may be what is not read.
    assert table(read(file, npz(time_s=[0, 1], voltage_v=[1, 2], other=[1, 2, 3])))["time_s"]


def test_more_than_memory_is_set_aside_for_is_refused(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = npz(time_s=[0, 1], voltage_v=[1, 2])
    monkeypatch.setattr(series, "MOST_VALUES", 3)
    assert "more than 3 values" in refusal(read(file, good))
    monkeypatch.setattr(series, "MAX_ROWS", 1)
    assert "more than 1 rows" in refusal(read(file, good))


# hostile files


class Trap:
    """Unpickled, it would leave a file behind."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self) -> tuple[Any, tuple[Any, ...]]:
        return (Path.touch, (self.path,))


def test_nothing_is_unpickled(file: Path, tmp_path: Path) -> None:
    trap = np.array([Trap(tmp_path / "sprung"), None], dtype=object)
    assert "never opened here" in refusal(read(file, npy(trap)))
    assert "never opened here" in refusal(read(file, npz(time_s=[0, 1], voltage_v=trap)))
    # What the run does not need may stay closed.
    assert table(read(file, npz(time_s=[0, 1], voltage_v=[1, 2], about=trap)))["time_s"] == [0, 1]
    bare = zipped(("time_s.npy", pickle.dumps(trap)), ("voltage_v.npy", npy(np.zeros(2))))
    assert "damaged header" in refusal(read(file, bare))
    assert not (tmp_path / "sprung").exists()


HEAD = "{{'descr': {descr}, 'fortran_order': False, 'shape': {shape}}}\n"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\x93NUMPY", "damaged header"),
        (b"\x93NUMPY\x01\x00", "damaged header"),
        (header("x" * 10, version=9), "damaged header"),
        (header("{"), "damaged header"),
        (header("{}"), "damaged header"),
        (header("(" * 500), "damaged header"),
        (header("[" * 30_000), "damaged header"),
        (b"\x93NUMPY\x02\x00\xff\xff\xff\xff", "damaged header"),
        (header("__import__('os').getcwd()"), "damaged header"),
        (header(HEAD.format(descr="'<f8'", shape="(2, -2)")), "damaged header"),
        (header(HEAD.format(descr="'<f8'", shape="(True, 2)")), "damaged header"),
        (header(HEAD.format(descr="'<f8'", shape="2")), "damaged header"),
        (header(HEAD.format(descr="'<x8'", shape="(2, 2)")), "damaged header"),
        (header(HEAD.format(descr="'S0'", shape="(10000000000, 2)")), "damaged header"),
        (header(HEAD.format(descr="'<f8'", shape=f"(1{'0' * 40}, 2)")), "promises"),
        (header(HEAD.format(descr="'<U99999999'", shape="(2, 2)")), "promises"),
        (header(HEAD.format(descr="'<f8'", shape="(1, 2)"), content=b"\0" * 17), "more bytes"),
        (header(HEAD.format(descr="'|O'", shape="(1, 2)"), content=b"\0" * 17), "pickled"),
        (header(HEAD.format(descr="'<f8'", shape="(2, 2)"), version=3), "promises"),
    ],
)
def test_a_header_is_never_believed(file: Path, data: bytes, said: str) -> None:
    assert said in refusal(read(file, data))
    assert said in refusal(
        read(file, zipped(("time_s.npy", data), ("voltage_v.npy", npy(np.zeros(1)))))
    ) or said in ("pickled",)


GOOD = npy(np.zeros(2))


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ([("../time_s.npy", GOOD), ("voltage_v.npy", GOOD)], "a path to another folder"),
        ([("/time_s.npy", GOOD)], "a path to another folder"),
        ([("..\\time_s.npy", GOOD)], "a path to another folder"),
        ([(f"a{at}.npy", GOOD) for at in range(513)], "513 arrays; 512 are taken"),
    ],
)
def test_an_archive_of_odd_members_is_refused(
    file: Path, members: list[tuple[str, bytes]], said: str
) -> None:
    assert said in refusal(read(file, zipped(*members)))


def test_a_member_without_a_name_is_no_stumbling_block(file: Path) -> None:
    # A name ends at its first zero (as zip readers have it), and nothing is left of this one.
    data = zipped(("@@", b""), ("time_s.npy", GOOD), ("voltage_v.npy", GOOD))
    reading = read(file, data.replace(b"@@", b"\0\0"))
    assert table(reading)["voltage_v"] == [0.0, 0.0]


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_name_that_stands_twice_is_refused(file: Path) -> None:
    twice = zipped(("time_s.npy", GOOD), ("voltage_v.npy", GOOD), ("voltage_v.npy", GOOD))
    assert "‘voltage_v.npy’ twice" in refusal(read(file, twice))


def test_other_members_are_left_unread_and_told(file: Path) -> None:
    data = zipped(("time_s.npy", GOOD), ("voltage_v.npy", GOOD), ("note.txt", b"x"))
    assert any("no arrays were left unread: ‘note.txt’" in note for note in read(file, data).notes)


def test_encrypted_and_damaged_members_are_refused(file: Path) -> None:
    content = bytearray(npz(time_s=np.arange(2000.0), voltage_v=np.zeros(2000)))
    # Bit 0 of the general purpose flag, in the central directory (APPNOTE 4.4.4).
    secret = content.copy()
    secret[secret.index(b"PK\x01\x02") + 8] |= 1
    assert "without a password" in refusal(read(file, bytes(secret)))
    # The last value of the first array: only the sum of the zip can tell.
    content[content.index(b"PK\x03\x04", 4) - 1] ^= 0xFF
    reading = read(file, bytes(content))
    assert "BadZipFile" in refusal(reading)
    assert reading.problems[0].column == "time_s"


def test_a_bomb_unpacks_no_further_than_a_log_could_be_long(file: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("time_s.npy", "w", force_zip64=True) as part:
            shape = f"({MAX_ROWS + 1},)"
            part.write(header(HEAD.format(descr="'|u1'", shape=shape)))
            for _ in range(MAX_ROWS // (1 << 20) + 1):
                part.write(b"\0" * (1 << 20))
        archive.writestr("voltage_v.npy", GOOD)
    reading = read(file, out.getvalue())
    assert reading.table is None
    assert reading.problem_count == 1


ARRAYS = npz(time_s=np.arange(4.0), voltage_v=np.arange(4.0), about=np.array(["a", "b"]))
PLAIN = npy(np.arange(8.0).reshape(4, 2))
FIELDS = npy(np.zeros(4, dtype=[("time_s", "<f4"), ("voltage_v", ">i4"), ("port", "<U2")]))


@given(
    st.sampled_from([ARRAYS, PLAIN, FIELDS]),
    st.lists(
        st.tuples(st.integers(0, 1200), st.integers(0, 8), st.binary(max_size=8)),
        min_size=1,
        max_size=4,
    ),
)
@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@pytest.mark.filterwarnings("default")
def test_any_damage_is_answered(
    file: Path, data: bytes, damages: list[tuple[int, int, bytes]]
) -> None:
    for at, length, snippet in damages:
        data = data[:at] + snippet + data[at + length :]
    reading = read(file, data)
    assert (reading.table is None) == (reading.problem_count > 0)
    assert all(problem.detail for problem in reading.problems)


@pytest.mark.parametrize("whole", [ARRAYS, PLAIN, FIELDS])
def test_a_file_cut_off_anywhere_is_refused(file: Path, whole: bytes) -> None:
    for cut in range(6, len(whole), 7):
        assert read(file, whole[:cut]).table is None
