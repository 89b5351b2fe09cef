"""The eighty bad inputs by number, and for each where it is tested.

`FILE` items are raw files, handed in through the API, the page and the command, and computed.
`PACKAGE` items are zips, folders and workbooks of runs. `REQUEST` items are about how a file is
sent. The rest is no matter of files; it says whose it is.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

FILE: Literal["file"] = "file"
PACKAGE: Literal["package"] = "package"
REQUEST: Literal["request"] = "request"
API: Literal["elsewhere"] = "elsewhere"


class Item(NamedTuple):
    """An item of the list: its number, what it is, its door, and why it is not tested here."""

    number: int
    what: str
    door: Literal["file", "package", "request", "elsewhere"]
    why: str = ""


ITEMS = (
    Item(1, "zip of ratio 1,028", PACKAGE),
    Item(2, "zips nested five deep", PACKAGE),
    Item(3, "members that overlap", PACKAGE),
    Item(4, "a member ../../x", PACKAGE),
    Item(5, "an absolute path", PACKAGE),
    Item(6, "a drive letter and backslashes", PACKAGE),
    Item(7, "a link as a member", PACKAGE),
    Item(8, "a device or a pipe as a member", PACKAGE),
    Item(9, "two members of one name", PACKAGE),
    Item(10, "names that differ by case or by the form of an accent", PACKAGE),
    Item(11, "100,000 empty members", PACKAGE),
    Item(12, "a header that lies about sizes", PACKAGE),
    Item(13, "a directory cut off", PACKAGE),
    Item(14, "an encrypted member", PACKAGE),
    Item(15, "zip64 with sizes that look negative", PACKAGE),
    Item(16, "a workbook of two cells in far corners", FILE),
    Item(17, "entities in a document type", FILE),
    Item(18, "an external entity", FILE),
    Item(19, "a million shared strings", FILE),
    Item(20, "macros and links to other workbooks", FILE),
    Item(21, "an XLS or HTML file renamed .xlsx", FILE),
    Item(22, "a formula without its value", FILE),
    Item(23, "dates from 1904 and the 29th of February 1900", FILE),
    Item(24, "merged cells and hidden columns", FILE),
    Item(25, "nothing in the file", FILE),
    Item(26, "headings only", FILE),
    Item(27, "byte order mark", FILE),
    Item(28, "UTF-16", FILE),
    Item(29, "°C in Latin-1", FILE),
    Item(30, "zero bytes", FILE),
    Item(31, "carriage returns only", FILE),
    Item(32, "mixed delimiters", FILE),
    Item(33, "decimal comma with thousands points", FILE),
    Item(34, "a quotation mark open to the end", FILE),
    Item(35, "one line of 200 MB", FILE),
    Item(36, "100,000 columns", FILE),
    Item(37, "duplicate headings", FILE),
    Item(38, "ragged rows", FILE),
    Item(39, "NaN, Inf, -0 and 1e999", FILE),
    Item(40, "1/2 and blank cells", FILE),
    Item(41, "thousands separators", FILE),
    Item(42, "Arabic-Indic digits", FILE),
    Item(43, "text that begins like a formula", FILE),
    Item(44, "zero-width signs and right-to-left override in names", FILE),
    Item(45, "millivolts labelled as volts", FILE),
    Item(46, "a temperature where a difference was meant", FILE),
    Item(47, "time that runs backward or stands still", FILE),
    Item(48, "efficiency over 100 %", FILE),
    Item(49, "negative power", FILE),
    Item(50, "uncertainty of zero or below", PACKAGE),
    Item(51, "expanded uncertainty without its k", PACKAGE),
    Item(52, "a unit off the list", FILE),
    Item(
        53,
        "calibration expired",
        API,
        "the file does not say it; a warning of the run, with arrivals",
    ),
    Item(54, "a moment in the future", REQUEST),
    Item(55, "one reading only", FILE),
    Item(56, "a waveform shorter than one mains cycle", FILE),
    Item(57, "a hash that differs", PACKAGE),
    Item(58, "bytes that lie", PACKAGE),
    Item(59, "a resource that is an address", PACKAGE),
    Item(60, "a file missing or not listed", PACKAGE),
    Item(61, "5 MB of JSON nested 10,000 deep", PACKAGE),
    Item(62, "duplicate keys in JSON", PACKAGE),
    Item(63, "a number as a string, 1e400", PACKAGE),
    Item(64, "a Content-Length that lies", REQUEST),
    Item(65, "a wrong content type, a file that is two formats", REQUEST),
    Item(66, "a file name of 4 KB, with line ends and quotation marks", REQUEST),
    Item(67, "10,000 parts", REQUEST),
    Item(68, "an idempotency key again, or of 10 KB", API, "headers: tests of the API's uploads"),
    Item(69, "a cursor that is forged or another list's", API, "paging: tests of catalog.rest"),
    Item(70, "limit=-1 and limit=1e9", API, "paging: tests of catalog.rest"),
    Item(71, "unknown filters and lookups", API, "parameters: tests of catalog.rest"),
    Item(72, "a search that is all wildcards", API, "searching: tests of the lists"),
    Item(73, "If-Match: *", API, "headers: tests of catalog.rest"),
    Item(74, "another person's draft", API, "roles: tests of who may see what"),
    Item(75, "published by mass assignment", API, "unknown fields: tests of catalog.rest"),
    Item(76, "a token in the address", API, "authentication: tests of the site"),
    Item(77, "a token that is revoked", API, "authentication: tests of the site"),
    Item(78, "a forged X-Forwarded-For", API, "throttling: the server in front"),
    Item(79, "a foreign Host header", API, "the framework's, by setting"),
    Item(80, "SVG with a script", REQUEST),
)
