"""Which kind of run a file is: the demo's own logs surely, doubtful ones not."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl import Workbook

from fixtures.scenario import scenario
from fixtures.scenario.runs import DemoRun
from measurements.intake.column_maps import Assigned, ColumnMap
from measurements.kinds import all_kinds, get_kind
from measurements.kinds.recognition import Candidate, recognise

SLUGS = [kind.slug for kind in all_kinds()]


@cache
def demo_runs() -> tuple[DemoRun, ...]:
    return tuple(scenario(adapters=4).runs)


def candidates(folder: Path, content: bytes | str, **options: object) -> tuple[Candidate, ...]:
    path = folder / "log"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return recognise(path, **options)  # type: ignore[arg-type]


def surely(folder: Path, content: bytes | str) -> str:
    found = candidates(folder, content)
    return found[0].kind if found and found[0].is_sure else ""


@pytest.mark.parametrize("slug", SLUGS)
def test_every_log_of_the_demo_is_its_kind(slug: str, tmp_path: Path) -> None:
    # One of each dress: the same headings are recognised alike.
    dressed = {run.content[:60]: run for run in demo_runs() if run.kind == slug}
    assert dressed
    wrong = {
        run.file_name: found
        for run in list(dressed.values())[:12]
        if (found := surely(tmp_path, run.content)) != slug
    }
    assert wrong == {}


@pytest.mark.parametrize("slug", [slug for slug in SLUGS if slug != "ripple"])
def test_the_canonical_headings_are_their_kind_in_every_format(slug: str, tmp_path: Path) -> None:
    columns = get_kind(slug).columns
    named = {
        column.name.replace("*", "case"): "A" if column.is_text else 1.0
        for column in columns
        if column.required or column.name in ("word", "position")
    }
    text = ",".join(named) + "\n" + ",".join(map(str, named.values())) + "\n"
    parquet, workbook, book = io.BytesIO(), io.BytesIO(), Workbook()
    pq.write_table(pa.table({name: [cell] for name, cell in named.items()}), parquet)
    assert book.active is not None
    book.active.append(list(named))
    book.active.append(list(named.values()))
    book.save(workbook)
    found = [surely(tmp_path, item) for item in (text, parquet.getvalue(), workbook.getvalue())]
    assert found == [slug] * 3


@pytest.mark.parametrize(
    ("headings", "slug"),
    [
        ("time_s,input_power_w", "no-load"),
        ("Zeit [s];Leistung [mW]", "no-load"),
        ("time_s,voltage_v,current_a,input_power_w", "charge"),
        ("time_s,voltage_v,current_a,battery_percent", "charge"),
        ("time_s,ambient_c,top_c,bottom_c", "thermal"),
        ("output_nominal_v,input_power_w,output_voltage_v,output_current_a", "efficiency"),
        ("output_nominal_v,output_current_a,ripple_mv_pp", "ripple"),
        ("time_s,voltage_v", "ripple"),
        ("combination,port,voltage_v,current_a", "sharing"),
        ("device,port,voltage_v,current_a", "device-match"),
        ("port,position,word", "port-scan"),
    ],
)
def test_what_a_bench_would_take_it_for(headings: str, slug: str, tmp_path: Path) -> None:
    separator = ";" if ";" in headings else ","
    row = separator.join(
        "A" if name in ("combination", "port", "device") else "1"
        for name in headings.split(separator)
    )
    assert surely(tmp_path, f"{headings}\n{row}\n") == slug


def test_a_sampled_waveform_is_one_of_ripple(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    np.savez(buffer, voltage_v=np.ones(9), sample_rate_hz=np.array(1e6))
    assert surely(tmp_path, buffer.getvalue()) == "ripple"


def test_a_doubtful_file_has_two_candidates_and_is_not_sure(tmp_path: Path) -> None:
    # Ports in use and what is plugged in: a trial of sharing and one of devices alike.
    found = candidates(tmp_path, "combination,device,port,voltage_v,current_a\nA,pad,A,9,2\n")
    assert {found[0].kind, found[1].kind} == {"sharing", "device-match"}
    assert all(item.complete for item in found[:2])
    assert not found[0].is_sure


def test_what_lacks_is_told_and_keeps_a_kind_from_being_sure(tmp_path: Path) -> None:
    found = candidates(tmp_path, "time_s,current_a,battery_percent\n0,1,2\n")
    charge = next(item for item in found if item.kind == "charge")
    assert not charge.complete
    assert any("No column for voltage into the device" in item for item in charge.lacking)
    assert found[0].kind != "charge" or not found[0].is_sure


def test_a_column_map_says_which_kind_it_is(tmp_path: Path) -> None:
    text = "time_s,voltage_v,current_a\n0,9,2\n"
    assert surely(tmp_path, text) == "charge"
    said = ColumnMap(
        headings=(("time_s", ""), ("voltage_v", ""), ("current_a", "")),
        columns=(Assigned("time_s", "s"), None, Assigned("input_power_w", "W")),
        name="meter",
    )
    best = candidates(tmp_path, text, maps={"no-load": (said,)})[0]
    assert (best.kind, best.map_name, best.is_sure) == ("no-load", "meter", True)


@pytest.mark.parametrize("content", ["", "Dear bench,\nit hums.\n", "PK\x03\x04", "PAR1"])
def test_what_is_no_table_is_no_kind(content: str, tmp_path: Path) -> None:
    assert candidates(tmp_path, content) == ()


def test_a_file_that_is_not_there_raises(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        recognise(tmp_path / "gone")
