"""A file is told by its bytes, whatever it is called; what is not read here is named."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from measurements.intake.columns import Column
from measurements.intake.decoding import Refused
from measurements.intake.formats import recognise
from measurements.intake.tables import read_table
from measurements.intake.zips import opened_zip
from tests.factories.workbooks import make_workbook


def zipped(*names: str) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name in names:
            archive.writestr(name, b"x")
    return file.getvalue()


def saved_array() -> bytes:
    file = io.BytesIO()
    np.save(file, np.arange(3.0))
    return file.getvalue()


def saved_parquet() -> bytes:
    file = io.BytesIO()
    pq.write_table(pa.table({"a": [1.0]}), file)
    return file.getvalue()


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "text"),
        (b"time_s\n0\n", "text"),
        (b"P", "text"),
        (make_workbook({"log": [[1]]}), "workbook"),
        (zipped("time_s.npy"), "arrays"),
        (saved_array(), "array"),
        (saved_parquet(), "parquet"),
    ],
)
def test_the_first_bytes_decide(tmp_path: Path, data: bytes, expected: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    assert recognise(path) == expected


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x05\x06" + b"\0" * 18, "an empty zip archive"),
        (b"PK\x03\x04rest", "cut off on the way"),
        (zipped("a.csv"), "neither a workbook nor NumPy arrays"),
        (zipped("mimetype", "content.xml"), "OpenDocument"),
        (zipped("xl/workbook.bin"), "XLSB"),
        (b"PAR1rest", "lacks its end"),
        (b"PAR1", "lacks its end"),
        (saved_parquet()[:-1], "lacks its end"),
        (b"PARE....PARE", "encrypted Parquet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512, "encrypted or an old binary workbook"),
        (b"\x89HDF\r\n\x1a\n", "HDF5"),
        (b"ARROW1\0\0", "Feather"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"\x28\xb5\x2f\xfd", "Zstandard"),
        (b"%PDF-1.7", "PDF"),
    ],
)
def test_another_format_is_named_with_what_to_do(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    with pytest.raises(Refused, match=said) as refusal:
        recognise(path)
    assert any(word in refusal.value.problem.detail for word in ("Send", "send", "Save"))
    reading = read_table(path, (Column("time_s", "Time", "s"),), file_name="log.csv")
    assert reading.problems == (refusal.value.problem,)


def with_directory_of(content: bytes, size: int) -> bytes:
    """The zip with another size of its directory in the record at its end."""
    end = content.rindex(b"PK\x05\x06")
    return content[: end + 12] + size.to_bytes(4, "little") + content[end + 16 :]


def test_a_directory_of_millions_of_members_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "log.npz"
    good = zipped("time_s.npy")
    path.write_bytes(good)
    with opened_zip(path) as archive:
        assert archive.namelist() == ["time_s.npy"]
    path.write_bytes(with_directory_of(good, 1 << 30))
    with pytest.raises(Refused, match="far more members"), opened_zip(path):
        pass
    # The larger form of the end record, with its locator, could name any size.
    end = good.rindex(b"PK\x05\x06")
    path.write_bytes(good[:end] + b"PK\x06\x07" + b"\0" * 16 + good[end:])
    with pytest.raises(Refused, match="far more members"), opened_zip(path):
        pass


def test_a_file_that_is_not_there_is_no_problem_of_its_content(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_table(tmp_path / "none", (Column("time_s", "Time", "s"),), file_name="none")
