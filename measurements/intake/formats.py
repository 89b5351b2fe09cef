"""Which format a file is in, told by its first bytes and never by its name."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Literal

from measurements.intake.decoding import Refused
from measurements.intake.zips import opened_zip

Format = Literal["text", "workbook", "parquet", "array", "arrays"]

# Signatures as the formats' own specifications give them.
_ZIP, _EMPTY_ZIP = b"PK\x03\x04", b"PK\x05\x06"
_PARQUET, _SECRET_PARQUET = b"PAR1", b"PARE"
_ARRAY = b"\x93NUMPY"
_OTHERS = (
    (_EMPTY_ZIP, "an empty zip archive"),
    (_SECRET_PARQUET, "an encrypted Parquet file"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an encrypted or an old binary workbook (XLS)"),
    (b"\x89HDF\r\n\x1a\n", "an HDF5 file"),
    (b"ARROW1", "an Arrow or Feather file"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive"),
    (b"%PDF-", "a PDF document"),
)
# A Parquet file is its mark, a footer with its length in four bytes, and the mark again.
_LEAST_PARQUET = 12
READ_FORMATS = "CSV, TSV, XLSX, Parquet, or NumPy’s .npy and .npz"


def recognise(path: Path) -> Format:
    """The format of the file; what begins like no other format is text.

    Raises
    ------
    Refused
        It is another format, or plainly cut off.
    """
    with path.open("rb") as file:
        head = file.read(8)
        size = file.seek(0, 2)
        file.seek(max(0, size - len(_PARQUET)))
        tail = file.read()
    for signature, name in _OTHERS:
        if head.startswith(signature):
            raise Refused(f"The file is {name}. Save the log as {READ_FORMATS}, and send that.")
    if head.startswith(_ARRAY):
        return "array"
    if head.startswith(_PARQUET):
        if size < _LEAST_PARQUET or tail != _PARQUET:
            raise Refused(
                "The file begins like Parquet but lacks its end: it was cut off, or the logger did "
                "not close it. Send it again, whole."
            )
        return "parquet"
    if not head.startswith(_ZIP):
        return "text"
    with opened_zip(path) as archive:
        return _inside(archive)


def _inside(archive: zipfile.ZipFile) -> Literal["workbook", "arrays"]:
    names = archive.namelist()
    if "xl/workbook.xml" in names:
        return "workbook"
    if any(name.endswith(".npy") for name in names):
        return "arrays"
    if "xl/workbook.bin" in names:
        raise Refused("The file is a binary workbook (XLSB). Save it as XLSX, and send that.")
    if "mimetype" in names and "content.xml" in names:
        raise Refused("The file is an OpenDocument file. Save the sheet as XLSX or CSV.")
    raise Refused(
        "The file is a zip that holds neither a workbook nor NumPy arrays. A run has one file: "
        f"send the log itself, as {READ_FORMATS}. A zip of several runs is a package and is "
        "handed in as one."
    )
