"""Workbooks for tests: proper ones by the reference library, improper ones by hand."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence

from openpyxl import Workbook

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"

Rows = Sequence[Sequence[object]]


def make_workbook(sheets: Mapping[str, Rows]) -> bytes:
    """A workbook as a spreadsheet program saves it."""
    book = Workbook()
    assert book.active is not None
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    return saved(book)


def saved(book: Workbook) -> bytes:
    """The file of a workbook."""
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def raw_workbook(
    sheet_data: str = "",
    *,
    sheets: Mapping[str, str] | None = None,
    prologue: str = "",
    parts: Mapping[str, bytes] | None = None,
) -> bytes:
    """A workbook written by hand: the XML of each worksheet's content, as hostile as wished."""
    sheets = {"runs": f"<sheetData>{sheet_data}</sheetData>"} if sheets is None else sheets
    numbered = list(enumerate(sheets.items(), start=1))
    listed = "".join(
        f'<sheet name="{name}" sheetId="{number}" r:id="rId{number}"/>'
        for number, (name, _) in numbered
    )
    relations = "".join(
        f'<Relationship Id="rId{number}" Type="{_OFFICE}/worksheet" '
        f'Target="worksheets/sheet{number}.xml"/>'
        for number, _ in numbered
    )
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{number}.xml" ContentType="application/'
        'vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>'
        for number, _ in numbered
    )
    contents = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/'
        'vnd.openxmlformats-package.relationships+xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType="application/'
        f'vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>{types}</Types>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{listed}'
        "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f"{relations}</Relationships>",
    }
    for number, (_, content) in numbered:
        contents[f"xl/worksheets/sheet{number}.xml"] = (
            f'{prologue}<worksheet xmlns="{_MAIN}">{content}</worksheet>'
        )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in contents.items():
            archive.writestr(name, text)
        for name, part in (parts or {}).items():
            archive.writestr(name, part)
    return file.getvalue()
