"""Packages that are refused, as a whole or row by row, or taken in without harm."""

from __future__ import annotations

import hashlib
import json
import random
import zipfile
from collections.abc import Callable
from dataclasses import dataclass

from tests.measurements.hostile.archives import (
    ADAPTER,
    DEVICE,
    GOOD,
    LINK,
    PIPE,
    closed,
    empty_members,
    encrypted,
    lying,
    nested,
    overlapping,
    package,
    runs_of,
    twice,
    with_mode,
    zip64_negative,
    zipped,
)


@dataclass(frozen=True, slots=True)
class PackageCase:
    """A package: item and how it is made, what is said of it, and how many runs come of it.

    With `rows` it is refused row by row, otherwise as a whole; without `said` not at all.
    """

    number: int
    how: str
    make: Callable[[], bytes]
    said: str = ""
    runs: int = 0
    rows: int = 0


def described(**resource: object) -> bytes:
    return package(("datapackage.json", json.dumps({"resources": [{"path": "a.csv", **resource}]})))


def with_json(text: str) -> bytes:
    return package(("datapackage.json", text))


def results(heading: str, cell: str) -> bytes:
    return zipped(
        {
            "results.csv": f"adapter,metric,value,line,{heading}\n"
            f"{ADAPTER},no-load-power,0.05,high,{cell}\n"
        }
    )


NFC, NFD = "Wärme.csv", "Wa\u0308rme.csv"
OTHER = GOOD.replace(b"0.0502", b"0.0503")
NOISE = random.Random(1).randbytes(5 << 19).hex()  # what would pack too well is refused before
DEEP = '{"resources": ' + "[" * 10_000 + "]" * 10_000 + f', "title": "{NOISE}"}}'
BYTES = '{"resources": [{"path": "a.csv", "bytes": %s}]}'
HASH = f"sha256:{hashlib.sha256(GOOD).hexdigest()}"

PACKAGES = (
    PackageCase(
        1, "20 MB of zeros", lambda: package(("z.csv", b"0" * 20_000_000)), "which no log does"
    ),
    PackageCase(
        2,
        "as the data file of a run: kept, and rejected when it is computed",
        lambda: package(("runs.csv", runs_of("n.zip")), ("n.zip", nested(5))),
        runs=1,
    ),
    PackageCase(
        3, "one stream 400 times", lambda: overlapping(400, size=400_000), "shares its bytes"
    ),
    PackageCase(4, "a member", lambda: package(("../../x", b"x")), "not a name inside the package"),
    PackageCase(5, "a member", lambda: package(("/etc/x", b"x")), "not a name inside the package"),
    PackageCase(
        5,
        "named by a row",
        lambda: package(("runs.csv", runs_of("/etc/hostname"))),
        "not a name inside the package",
        rows=1,
    ),
    PackageCase(6, "a drive", lambda: package(("C:x.csv", b"x")), "not a name inside the package"),
    PackageCase(
        6,
        "backslashes in a row",
        lambda: package(("runs.csv", runs_of("..\\x.csv"))),
        "not a name inside the package",
        rows=1,
    ),
    PackageCase(7, "to a system file", lambda: with_mode(LINK), "is a link"),
    PackageCase(8, "a pipe", lambda: with_mode(PIPE), "no ordinary file"),
    PackageCase(8, "a device", lambda: with_mode(DEVICE), "no ordinary file"),
    PackageCase(9, "the same name", lambda: twice("a.csv"), "twice"),
    PackageCase(
        10,
        "case: two files that stay two",
        lambda: zipped({"runs.csv": runs_of("a.csv", "A.csv"), "a.csv": GOOD, "A.csv": OTHER}),
        runs=2,
    ),
    PackageCase(
        10,
        "an accent as two signs in the zip and as one in the table",
        lambda: zipped({"runs.csv": runs_of(NFC), NFD: GOOD}),
        runs=1,
    ),
    PackageCase(
        10,
        "an accent in both forms",
        lambda: package((NFC, GOOD), (NFD, OTHER)),
        "twice",
    ),
    PackageCase(11, "true to scale", lambda: empty_members(100_000), "far more members"),
    PackageCase(
        12,
        "smaller than it is",
        lambda: lying(package(), size=100),
        "cannot be unpacked",
        rows=1,
    ),
    PackageCase(
        12,
        "larger than it is",
        lambda: lying(package(), size=len(GOOD) + 1),
        "cannot be unpacked",
        rows=1,
    ),
    PackageCase(13, "half of the file", lambda: package()[:-60], "cannot be opened as a zip"),
    PackageCase(
        13,
        "packed bytes beyond the end",
        lambda: package()[200:],
        "beyond the ends",
    ),
    PackageCase(14, "by its flag", encrypted, "is encrypted"),
    PackageCase(15, "2⁶⁴ − 1", zip64_negative, "beyond the ends of the zip"),
    PackageCase(
        12,
        "another method of packing",
        lambda: zipped({"runs.csv": runs_of("a.csv"), "a.csv": GOOD}, method=zipfile.ZIP_BZIP2),
        "Make the zip again, with deflate",
    ),
    PackageCase(13, "an empty zip", lambda: closed(b"", []), "runs.csv is missing"),
    PackageCase(
        50,
        "below zero",
        lambda: results("standard_uncertainty", "-0.01"),
        "standard_uncertainty",
        rows=1,
    ),
    PackageCase(
        51, "no k", lambda: results("uncertainty", "0.01"), "No column is called 'uncertainty'"
    ),
    PackageCase(57, "sha256", lambda: described(hash=HASH[:-1] + "_"), "differs from", rows=1),
    PackageCase(57, "unknown hash", lambda: described(hash="crc32:1"), "not one of"),
    PackageCase(58, "too few", lambda: described(bytes=12), "datapackage.json states 12", rows=1),
    PackageCase(58, "as told", lambda: described(bytes=len(GOOD), hash=HASH), runs=1),
    PackageCase(
        59, "http", lambda: described(path="http://bench.example/a.csv"), "not a name inside"
    ),
    PackageCase(59, "file", lambda: described(path="file:///etc/passwd"), "not a name inside"),
    PackageCase(
        60, "missing", lambda: package(("runs.csv", runs_of("b.csv"))), "no file “b.csv”", rows=1
    ),
    PackageCase(60, "one more than listed", lambda: package(("b.csv", OTHER)), runs=1),
    PackageCase(61, "descriptor", lambda: with_json(DEEP), "nested too deeply"),
    PackageCase(
        62,
        "descriptor",
        lambda: with_json('{"resources": [], "resources": [{"path": "a.csv", "bytes": 1}]}'),
        "has the name “resources” twice",
    ),
    PackageCase(63, "bytes as 1e400", lambda: with_json(BYTES % "1e400"), "no whole number"),
    PackageCase(63, "bytes as text", lambda: with_json(BYTES % '"1206"'), "no whole number"),
)
