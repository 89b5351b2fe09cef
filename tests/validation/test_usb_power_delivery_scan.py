"""USB Power Delivery, source power data objects: from the cells of a file to the result of a run.

The words are those that `test_usb_power_delivery_vectors` works by hand from the published layout:
Linux kernel header include/linux/usb/pd.h, kernel patch for adjustable supplies, and the Fuchsia
header of message objects, all read. That the all-zero word is padding, and that type 3 of the
augmented ones is reserved, is from memory of the specification, which was not read.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from measurements.intake.tables import read_table
from measurements.kinds.base import AdapterFacts, Outcome, PortFacts, Setup
from measurements.kinds.port_scan.kind import KIND
from tests.validation.test_usb_power_delivery_vectors import EVERY_VECTOR, VECTORS, Vector

WORDS_A_PORT = 7


def outcome_of(path: Path, text: str, *labels: str) -> Outcome:
    path.write_text(text, "utf-8")
    reading = read_table(path, KIND.columns, file_name=path.name)
    assert reading.table is not None, reading.problems
    setup = Setup(
        AdapterFacts(
            rated_power_w=240.0, ports=tuple(PortFacts(label, "usb-c") for label in labels)
        )
    )
    assert KIND.check(reading.table, setup) == ()
    return KIND.measure(reading.table, setup)


def figure(value: float | None) -> str:
    return "–" if value is None else f"{value:.6g}"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "scan.csv"


@EVERY_VECTOR
def test_a_word_in_a_file_is_listed_as_the_layout_has_it(file: Path, vector: Vector) -> None:
    outcome = outcome_of(file, f"Port;Position;PDO\nC1;1;0x{vector.word:08x}\n", "C1")
    (row,) = outcome.details.listings[0].rows
    lowest, highest = (figure(voltage) for voltage in vector.voltages_v)
    assert row[0] == "1"
    assert row[2] == (lowest if lowest == highest else f"{lowest}–{highest}")
    assert row[3:] == (
        figure(vector.current_a),
        figure(vector.power_w),
        ", ".join(vector.flags),
        f"0x{vector.word:08X}",
    )
    powers = [item.value for item in outcome.values if item.metric == "top-pdo-power"]
    # What offers nothing allows no power.
    assert powers == [vector.power_w or 0.0]


def test_every_word_of_a_file_is_kept_and_counted_by_port(file: Path) -> None:
    ports = {
        f"C{number}": VECTORS[start : start + WORDS_A_PORT]
        for number, start in enumerate(range(0, len(VECTORS), WORDS_A_PORT), start=1)
    }
    # Eight digits without prefix: some read as numbers, and none may be taken for one.
    rows = [
        f"{label},{place},{vector.word:08X}"
        for label, vectors in ports.items()
        for place, vector in enumerate(vectors, start=1)
    ]
    outcome = outcome_of(file, "\n".join(["port,position,word", *rows]), *ports)
    assert outcome.details.facts["ports"] == [
        {
            "port": label,
            "words": [f"0x{vector.word:08X}" for vector in vectors],
            "unread": [],
            "protocols": [],
        }
        for label, vectors in ports.items()
    ]
    counts = {
        item.condition.port: item.value for item in outcome.values if item.metric == "profile-count"
    }
    assert counts == {
        label: sum(vector.power_w is not None for vector in vectors)
        for label, vectors in ports.items()
    }
    # One word has a type without meaning.
    assert [flag.code for flag in outcome.flags].count("reserved-object") == 1
