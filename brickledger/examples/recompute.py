# %% [markdown]
# Three metrics from a package alone
#
#     python recompute.py PACKAGE.zip
#
# reads a data package that was exported with its raw files and computes again: standby power and
# the energy of a charge from the raw records, and power density from the catalogue. It knows
# nothing of the site that made the package: only the tables, what datapackage.json says of them,
# and the raw files. It ends with 1 where a number differs by more than 1e-12 of itself.

# %% The package: a zip with a descriptor, tables, and raw files
from __future__ import annotations

import csv
import hashlib
import io
import json
import sys
import zipfile
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

TOLERANCE = 1e-12
csv.field_size_limit(sys.maxsize)

Row = dict[str, str]
Columns = dict[str, Any]


class Unreadable(Exception):
    """Why this script does not read a raw file; it reads plainly written text only."""


class Package:
    """The files of a package, each held against the hash that the descriptor states."""

    def __init__(self, path: str) -> None:
        self.archive = zipfile.ZipFile(path)
        content = json.loads(self.archive.read("datapackage.json"))
        self.hashes = {item["path"]: item["hash"] for item in content["resources"]}
        self.paths = {item["name"]: item["path"] for item in content["resources"]}
        self.units = {
            item["name"]: {field["name"]: field.get("unit") for field in item["schema"]["fields"]}
            for item in content["resources"]
            if "schema" in item
        }

    def bytes_of(self, path: str) -> bytes:
        """A file as it is in the package."""
        content = self.archive.read(path)
        if f"sha256:{hashlib.sha256(content).hexdigest()}" != self.hashes[path]:
            raise SystemExit(f"{path} differs from what datapackage.json states.")
        return content

    def table(self, name: str) -> list[Row]:
        """The rows of a table; an empty cell is a missing value."""
        if name not in self.paths:
            raise SystemExit(f"The package has no table {name}: export it with its raw files.")
        text = self.bytes_of(self.paths[name]).decode("utf-8")
        return list(csv.DictReader(io.StringIO(text, newline="")))


# %% A raw file, read as columns.csv says that it was read
def raw_columns(content: bytes, described: list[Row], *, wanted: Iterable[str]) -> Columns:
    """Canonical column → its numbers, in the unit of that column; those of `wanted` there are."""
    first = described[0]
    if first["format"] != "text":
        raise Unreadable(f"it is of the format {first['format']}")
    text = content.decode(first["encoding"]).removeprefix("\ufeff")
    lines = list(io.StringIO(text, newline=None))[int(first["first_line"]) - 1 :]
    rows = [row for row in csv.reader(lines, delimiter=first["delimiter"] or "\t") if any(row)]
    if any(len(row) != len(described) for row in rows):
        raise Unreadable("something else stands below or between its numbers")
    found = {}
    for place, column in enumerate(described):
        if column["column"] not in wanted:
            continue
        if not column["factor"]:
            raise Unreadable(f"the column {column['heading']!r} is text or clock stamps")
        found[column["column"]] = float(column["factor"]) * numbers(
            [row[place] for row in rows], decimal_mark=column["decimal_mark"]
        )
    return found


def numbers(cells: Iterable[str], *, decimal_mark: str) -> Any:
    """Cells as numbers; thousands are not parted."""
    try:
        return np.array([float(cell.replace(decimal_mark, ".")) for cell in cells])
    except ValueError as error:
        raise Unreadable(f"a cell is no plain number ({error})") from error


# %% Standby power: the mean of the last two thirds of the record (IEC 62301, sampling method)
def no_load_power(columns: Columns) -> float:
    """Mean power [W] of the readings from the end of the first third on."""
    power = columns["input_power_w"]
    if "time_s" not in columns:
        return float(power[int(power.size / 3 + 1e-9) :].mean())
    time = columns["time_s"] - columns["time_s"][0]
    return float(power[time >= time[-1] / 3 - 1e-9 * time[-1]].mean())


# %% Energy of a charge: the trapezoid of voltage times current, without the gaps of the log
def charge_energy(columns: Columns) -> float:
    """Energy [Wh] into the device; an interval over 10 s and five medians is a gap."""
    time, power = columns["time_s"], columns["voltage_v"] * columns["current_a"]
    steps = np.diff(time)
    joined = steps <= max(5 * float(np.median(steps)), 10.0)
    return float(np.sum((steps * (power[:-1] + power[1:]) / 2)[joined])) / 3600


# Metric → how it is computed, and the columns that this takes.
FROM_RAW: dict[str, tuple[Callable[[Columns], float], tuple[str, ...]]] = {
    "no-load-power": (no_load_power, ("time_s", "input_power_w")),
    "charge-energy": (charge_energy, ("time_s", "voltage_v", "current_a")),
}


# %% Power density: rated power over the volume of the body
def power_density(adapter: Row) -> float:
    """Rated power over volume [W/cm³] of an adapter whose three lengths are known."""
    volume_mm3 = np.prod([float(adapter[f"{side}_mm"]) for side in ("length", "width", "height")])
    return float(adapter["rated_power_w"]) / (float(volume_mm3) / 1000)


# %% What the package says
def published(values: Iterable[Row]) -> dict[tuple[str, str], float]:
    """Metric and run, or adapter, → the last value in the history of that place."""
    found = {}
    for row in values:
        if row["source"] != "table":
            found[row["metric"], row["run"] or row["adapter"]] = float(row["value"])
    return found


def differs(ours: float, theirs: float) -> bool:
    """Whether two numbers differ by more than the tolerance, relative to the published one."""
    return not abs(ours - theirs) <= TOLERANCE * abs(theirs)


# %% Both side by side
def compare(package: Package) -> dict[str, list[tuple[str, float, float]]]:
    """Metric → run or adapter, number computed here, number of the package."""
    known = published(package.table("values"))
    described: dict[str, list[Row]] = {}
    for row in package.table("columns"):
        described.setdefault(row["run"], []).append(row)
    pairs: dict[str, list[tuple[str, float, float]]] = {}
    left_out: list[str] = []
    for run in package.table("runs"):
        for metric, (compute, wanted) in FROM_RAW.items():
            if (metric, run["id"]) not in known:
                continue
            try:
                if not run["file"] or run["id"] not in described:
                    raise Unreadable("its file is not in the package, or not described")
                content = package.bytes_of(run["file"])
                columns = raw_columns(content, described[run["id"]], wanted=wanted)
            except Unreadable as reason:
                left_out.append(f"{metric} of run {run['id']}: {reason}")
                continue
            pair = run["id"], compute(columns), known[metric, run["id"]]
            pairs.setdefault(metric, []).append(pair)
    for adapter in package.table("adapters"):
        if ("power-density", adapter["slug"]) in known:
            theirs = known["power-density", adapter["slug"]]
            pair = adapter["slug"], power_density(adapter), theirs
            pairs.setdefault("power-density", []).append(pair)
    for sentence in left_out:
        print(f"left out: {sentence}")
    return pairs


def main(path: str) -> int:
    """Compare and report; 1 where a number differs, or nothing could be computed."""
    package = Package(path)
    units = {row["key"]: row["ucum"] for row in package.table("metrics")}
    pairs = compare(package)
    failed = not pairs
    for metric, numbers_of in pairs.items():
        wrong = [item for item in numbers_of if differs(item[1], item[2])]
        worst = max(abs(ours - theirs) / (abs(theirs) or 1) for _, ours, theirs in numbers_of)
        print(
            f"{metric} [{units[metric]}]: {len(numbers_of)} computed, {len(wrong)} differ; "
            f"largest relative difference {worst:.1e}"
        )
        for name, ours, theirs in wrong:
            print(f"  {name}: {ours!r} here, {theirs!r} in the package")
        failed = failed or bool(wrong)
    return int(failed)


# %%
if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit("Give the package: python recompute.py PACKAGE.zip")
    raise SystemExit(main(sys.argv[1]))
