"""Raw files that are rejected in words, or read without harm."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from measurements.intake.workbook_scan import MOST_OTHERS, MOST_STRINGS
from tests.factories.measurements import efficiency_log, no_load_log
from tests.factories.workbooks import make_workbook, raw_workbook, saved
from tests.measurements.hostile.archives import zipped

HEAD = "time_s,input_power_w\n"
GOOD = no_load_log(minutes=1)


@dataclass(frozen=True, slots=True)
class FileCase:
    """A raw file: item and how it is made, and what is said of it; nothing where it is read.

    A `flag` is raised by one that is read.
    """

    number: int
    how: str
    make: Callable[[], bytes]
    said: str = ""
    kind: str = "no-load"
    fields: Mapping[str, str] = field(default_factory=dict)
    flag: str = ""


def log(*rows: str, head: str = HEAD) -> bytes:
    return (head + "".join(f"{row}\n" for row in rows)).encode("utf-8")


def retyped(encoding: str, **changed: str) -> bytes:
    text = GOOD.decode("ascii")
    for old, new in changed.items():
        text = text.replace(old, new)
    return text.encode(encoding)


def sheet(prologue: str = "", parts: Mapping[str, bytes] | None = None) -> bytes:
    cells = (
        "<row><c t='inlineStr'><is><t>input_power_w</t></is></c></row><row><c><v>1</v></c></row>"
    )
    return raw_workbook(
        cells, prologue=prologue, parts={f"xl/{name}": part for name, part in (parts or {}).items()}
    )


def rows_of_power() -> list[list[Any]]:
    return [["time_s", "input_power_w"], *([at, 0.05 + at % 2 / 1000] for at in range(60))]


def dated(*, from_1904: bool) -> bytes:
    book = Workbook()
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    assert book.active is not None
    book.active.append(["time", "input_power_w"])
    for second in range(60):
        book.active.append(
            [
                datetime(2026, 4, 4, tzinfo=UTC).replace(tzinfo=None) + timedelta(seconds=second),
                0.05,
            ]
        )
    return saved(book)


def leap_1900() -> bytes:
    """Serial 60, which spreadsheets show as 29 February 1900, a day that never was."""
    style = "<c><v>{}</v></c><c><v>0.05</v></c>"
    rows = "".join(f"<row>{style.format(59.5 + at / 10)}</row>" for at in range(12))
    head = "".join(f'<c t="inlineStr"><is><t>{n}</t></is></c>' for n in ("time_s", "input_power_w"))
    return raw_workbook(f"<row>{head}</row>{rows}")


def merged() -> bytes:
    book = Workbook()
    assert book.active is not None
    for row in rows_of_power():
        book.active.append(row)
    book.active.merge_cells("B3:B5")
    return saved(book)


def hidden() -> bytes:
    book = Workbook()
    assert book.active is not None
    for row in rows_of_power():
        book.active.append([*row, "remark"])
    book.active.column_dimensions["C"].hidden = True
    return saved(book)


def strings(count: int) -> bytes:
    texts = "".join(f"<si><t>{at}</t></si>" for at in range(count))
    return sheet(parts={"sharedStrings.xml": f"<sst>{texts}</sst>".encode()})


def formats(count: int) -> bytes:
    styles = b"<styleSheet><cellXfs>" + b"<xf/>" * count + b"</cellXfs></styleSheet>"
    return sheet(parts={"styles.xml": styles})


def disguised(workbook: bytes) -> bytes:
    """The workbook with a worksheet whose outermost element is not called so."""
    with zipfile.ZipFile(io.BytesIO(workbook)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    first = "xl/worksheets/sheet1.xml"
    parts[first] = parts[first].replace(b"<worksheet", b"<sst").replace(b"</worksheet", b"</sst")
    return zipped(parts)


def waveform(milliseconds: float) -> bytes:
    held = io.BytesIO()
    seconds = np.arange(0, milliseconds / 1000, 1e-6)
    np.savez(held, time_s=seconds, voltage_v=5 + 0.01 * np.sin(2e5 * seconds))
    return held.getvalue()


def ole() -> bytes:
    return bytes.fromhex("D0CF11E0A1B11AE1") + bytes(512)


FAR = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
SWEEP = efficiency_log(5.0)
LEAPS = ("0,0.05", "1,0.05", "3,0.05", "2,0.05", "4,0.05")
WAVE = {"output_nominal_v": "5", "output_current_a": "1", "mains_hz": "50"}

FILES = (
    FileCase(16, "A1 and XFD1048576", lambda: raw_workbook(FAR), "too large"),
    FileCase(
        16,
        "in a part that does not call itself a worksheet",
        lambda: disguised(raw_workbook(FAR)),
        "too large",
    ),
    FileCase(
        17, "ten times ten", lambda: sheet('<!DOCTYPE x [<!ENTITY a "aaaa">]>'), "document type"
    ),
    FileCase(
        18,
        "of the system",
        lambda: sheet('<!DOCTYPE x SYSTEM "file:///etc/passwd">'),
        "document type",
    ),
    FileCase(19, "just too many", lambda: strings(MOST_STRINGS + 1), "different texts"),
    FileCase(19, "formats instead", lambda: formats(MOST_OTHERS + 1), "formats"),
    FileCase(
        20,
        "neither is run or followed",
        lambda: sheet(
            parts={"vbaProject.bin": b"\0" * 64, "externalLinks/externalLink1.xml": b"<x/>"}
        ),
        "",
    ),
    FileCase(21, "XLS", ole, "old binary workbook"),
    FileCase(21, "HTML", lambda: b"<html><table><tr><td>1</td></tr></table></html>", "heading"),
    FileCase(
        22,
        "beside values",
        lambda: make_workbook({"Log": [["input_power_w"], [0.05], ["=1/20"]]}),
        "never computed",
    ),
    FileCase(23, "1904", lambda: dated(from_1904=True)),
    FileCase(23, "1900", lambda: dated(from_1904=False)),
    FileCase(23, "29 February 1900 as a number", leap_1900),
    FileCase(24, "merged", merged, "merged cells"),
    FileCase(24, "hidden column", hidden),
    FileCase(25, "no byte", lambda: b"", "empty"),
    FileCase(25, "blank lines", lambda: b"\n\n\n", "blank lines only"),
    FileCase(26, "one line", log, "no rows"),
    FileCase(27, "UTF-8", lambda: retyped("utf-8-sig")),
    FileCase(28, "with mark", lambda: retyped("utf-16")),
    FileCase(28, "without mark", lambda: retyped("utf-16-be")),
    FileCase(
        29,
        "Latin-1",
        lambda: "time_s;top [°C];ambient [°C]\n0;25;25\n60;31;25\n120;33;25\n".encode("latin-1"),
        kind="thermal",
    ),
    FileCase(30, "among the rows", lambda: log("0,0.05", "1,0\0.05"), "zero bytes"),
    FileCase(31, "as line ends", lambda: GOOD.replace(b"\n", b"\r")),
    FileCase(
        32, "comma and semicolon", lambda: log("0,0.05", "1;0.05", "2,0.05"), "Cells in the row"
    ),
    FileCase(33, "1.234,5", lambda: log("0;1.234,5", "1;1.234,6", head="time_s;input_power_mw\n")),
    FileCase(34, "to the end", lambda: log('0,"0.05', "1,0.05"), "quotation mark"),
    FileCase(35, "2 MB", lambda: log("0," + "1" * 2_000_000), "longer than"),
    FileCase(
        36,
        "true to scale",
        lambda: log(head=",".join(f"c{at}" for at in range(100_000)) + "\n"),
        "columns",
    ),
    FileCase(
        37,
        "of power",
        lambda: log("0,1,2", head="time_s,input_power_w,input_power_w\n"),
        "over 2 columns",
    ),
    FileCase(38, "one cell less", lambda: log("0,0.05", "1"), "Cells in the row: 1"),
    FileCase(39, "Inf", lambda: log("0,0.05", "1,Inf"), "input_power_w"),
    FileCase(39, "1e999", lambda: log("0,0.05", "1,1e999"), "1e999"),
    FileCase(39, "NaN", lambda: log("0,0.05", "1,NaN"), "missing"),
    FileCase(39, "-0 is zero", lambda: log("0,-0", "1,-0.0", "2,0")),
    FileCase(40, "1/2", lambda: log("0,1/2", "1,0.05"), "‘1/2’ is not a number"),
    FileCase(40, "blank", lambda: log("0,0.05", "1,"), "blank"),
    FileCase(
        41, "that may be decimal", lambda: log('0,"1,234"', head="time_s,input_power_mw\n"), "1234"
    ),
    FileCase(42, "in a cell", lambda: log("0,0.05", "1,٠.٠٥"), "digits 0 to 9"),
    FileCase(43, "HYPERLINK", lambda: log('0,"=HYPERLINK(""http://x"")"'), "=HYPERLINK"),
    FileCase(43, "@SUM", lambda: log("0,@SUM(A1)"), "@SUM"),
    FileCase(
        44, "zero-width", lambda: log("0,0.05", "1,0.05", head="time_s,input_\u200bpower_w\n")
    ),
    FileCase(44, "override", lambda: log("0,0.05", head="time_s,\u202eW rewop\n"), "u202eW rewop"),
    FileCase(
        45,
        "of the output",
        lambda: SWEEP.replace(b",5.0,", b",5000,"),
        "check the unit",
        kind="efficiency",
    ),
    FileCase(
        46, "in K", lambda: log("0,5", "60,7", head="time_s,top [K]\n"), "top", kind="thermal"
    ),
    FileCase(47, "backward", lambda: log(*LEAPS), "in the order of time"),
    FileCase(47, "still", lambda: log("0,0.05", "1,0.05", "1,0.05"), "in the order of time"),
    FileCase(
        48,
        "twice the output",
        lambda: efficiency_log(5.0, loss=0.5),
        "over 100 %",
        kind="efficiency",
    ),
    FileCase(49, "no-load", lambda: log("0,0.05", "1,-0.05"), "cannot feed the mains"),
    FileCase(52, "horsepower", lambda: log("0,0.05", head="time_s,input power [hp]\n"), "hp"),
    FileCase(52, "none such", lambda: log("0,0.05", head="time_s,input power [blorg]\n"), "blorg"),
    FileCase(55, "of power", lambda: log("0,0.05"), flag="single-reading"),
    FileCase(56, "5 ms", lambda: waveform(5), kind="ripple", fields=WAVE, flag="short-for-mains"),
)
