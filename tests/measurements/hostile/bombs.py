"""What is small on the wire and large in memory, by name, and what takes each in.

Run as a module in a process of its own, which prints the most memory that it took; the files are
made by the test, so that making them is not measured: ``python -m … NAME FILE``.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from measurements.intake.columns import Column
from measurements.intake.tables import read_table
from measurements.management.opening import open_package
from measurements.management.packages import PackageError
from measurements.management.stores import IN_BULK

STATUS = Path("/proc/self/status")
COLUMNS = (Column("time_s", "Time", "s"), Column("input_power_w", "Input power", "W"))


def as_log(path: Path) -> str:
    """What is said of the file as a raw file, read without the limits of the child."""
    reading = read_table(path, COLUMNS, file_name="log.csv")
    return reading.problems[0].detail if reading.problems else ""


def as_package(path: Path) -> str:
    """What is said of the file as a package."""
    try:
        with open_package(path, limits=IN_BULK):
            return ""
    except PackageError as error:
        return str(error)


def peak_bytes() -> int:
    """The most memory that this process ever held, [byte].

    Not that of `getrusage`, which a process inherits from whoever started it (proc(5), VmHWM).
    """
    for line in STATUS.read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024
    raise LookupError("no VmHWM")


def main(door: str, path: str) -> None:
    """Print the memory [byte] that the file takes besides the program, and what is said."""
    doors: dict[str, Callable[[Path], str]] = {"log": as_log, "package": as_package}
    small = Path(path).with_suffix(".small")
    doors[door](small)  # everything is imported and warm
    before = peak_bytes()
    said = doors[door](Path(path))
    print(peak_bytes() - before)
    print(said)


if __name__ == "__main__":
    main(*sys.argv[1:])
