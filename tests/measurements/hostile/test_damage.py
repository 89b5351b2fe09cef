"""Whatever happens to the bytes of a package on the way: `PackageError` or what was sent."""

from __future__ import annotations

import io
from contextlib import suppress

from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.management.opening import package_in
from measurements.management.packages import PackageError
from measurements.management.stores import WHILE_WAITING
from tests.factories.workbooks import make_workbook
from tests.measurements.hostile.archives import ADAPTER, GOOD, zipped

RUNS = f"adapter,kind,file\n{ADAPTER},no-load,a.csv\n"
DEFLATED = zipped({"runs.csv": RUNS, "a.csv": GOOD, "datapackage.json": '{"resources": []}'})
WORKBOOK = make_workbook(
    {"runs": [["adapter", "kind", "file"], [ADAPTER, "no-load", "a"]], "a": [["time_s"], [1], [2]]}
)


def damaged(content: bytes, changes: list[tuple[float, int]], length: float) -> bytes:
    """The bytes with some of them replaced, cut off at a share of their length."""
    changed = bytearray(content)
    for place, value in changes:
        changed[int(place * (len(changed) - 1))] = value
    return bytes(changed[: int(length * len(changed))])


# Most places near the end, where the directory is.
PLACES = st.one_of(st.floats(0, 1), st.floats(0.85, 1))
CHANGES = st.lists(st.tuples(PLACES, st.integers(0, 255)), max_size=6)
LENGTHS = st.one_of(st.just(1.0), st.floats(0, 1))


def read_all(content: bytes, *, name: str) -> dict[str, bytes]:
    """Every file that the package lists. Raises `PackageError`."""
    with package_in(io.BytesIO(content), name=name, limits=WHILE_WAITING) as package:
        files = [row.cells.get("file", "") for row in package.rows(package.table)]
        found = {}
        for file in files:
            package.require(file)
            found[file] = b"".join(package.chunks(file))
        return found


@settings(max_examples=100, deadline=None)
@given(changes=CHANGES, length=LENGTHS)
def test_a_damaged_zip_gives_its_logs_or_a_sentence(
    changes: list[tuple[float, int]], length: float
) -> None:
    try:
        found = read_all(damaged(DEFLATED, changes, length), name="package.zip")
    except PackageError:
        return
    assert found.get("a.csv", GOOD) == GOOD


@settings(max_examples=50, deadline=None)
@given(changes=CHANGES, length=LENGTHS)
def test_a_damaged_workbook_gives_its_sheets_or_a_sentence(
    changes: list[tuple[float, int]], length: float
) -> None:
    with suppress(PackageError):
        read_all(damaged(WORKBOOK, changes, length), name="package.xlsx")
