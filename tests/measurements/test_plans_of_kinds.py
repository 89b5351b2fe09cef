"""Every method's own plan fits the door that it leads to: fields, columns, and the sheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from django.contrib.auth.models import User
from openpyxl import load_workbook

from catalog.actions import ClaimFacts, PortFacts, save_device
from catalog.models import Adapter, Device
from measurements import queries
from measurements.forms import RunForm
from measurements.kinds import all_kinds
from measurements.kinds.base import Kind, PlannedRun
from measurements.management.sheets import sheet_of
from measurements.queries import Planned
from tests.factories.catalog import make_adapter
from tests.factories.measurements import accepted

pytestmark = pytest.mark.django_db

EVERY_KIND = pytest.mark.parametrize("kind", all_kinds(), ids=lambda kind: kind.slug)


@pytest.fixture(params=["bare", "full"])
def adapter(request: pytest.FixtureRequest) -> Adapter:
    """An adapter of which only the rating is known, and one with ports, claims and devices."""
    if request.param == "bare":
        return make_adapter(ports=())
    return whole_adapter()


def whole_adapter() -> Adapter:
    """An adapter with three ports and claims, and two devices to try it with."""
    for name in ("Made-up phone", "Made-up pad"):
        save_device(Device(name=name))
    return make_adapter(
        "Trio 140",
        rated_power_w=140.0,
        ports=(
            PortFacts("C1", "usb-c", 140.0),
            PortFacts("C2", "usb-c", 65.0),
            PortFacts("A1", "usb-a", 22.5),
        ),
        claims=(
            ClaimFacts("5 V 3 A", port="C1", voltage_v=5.0, current_a=3.0),
            ClaimFacts("28 V 5 A", port="C1", voltage_v=28.0, current_a=5.0),
        ),
    )


def is_known(kind: Kind, name: str) -> bool:
    return any(
        name.endswith(column.name[1:]) if column.is_family else name == column.name
        for column in kind.columns
    )


@EVERY_KIND
def test_the_upload_takes_what_is_planned(kind: Kind, adapter: Adapter, reviewer: User) -> None:
    for asked in kind.plan(queries.plan_setup(adapter)):
        said: dict[str, Any] = {"adapter": adapter.slug, "kind": kind.slug, **asked.fields}
        form = RunForm(said, viewer=reviewer)
        assert set(asked.fields) <= set(form.fields)
        # Where no device is known, the bench names the first.
        assert set(form.errors) == {name for name, value in asked.fields.items() if value == ""}


@EVERY_KIND
def test_planned_columns_are_those_of_the_kind(kind: Kind, adapter: Adapter) -> None:
    for asked in kind.plan(queries.plan_setup(adapter)):
        assert asked.title
        assert asked.columns
        assert all(is_known(kind, name) for name in asked.columns)
        assert all(len(row) == len(asked.columns) for row in asked.rows)
        required = {column.name for column in kind.columns if column.required}
        assert {name for name in required if not name.startswith("*")} <= set(asked.columns)


# What a bench would write under each heading that a plan leaves open.
READINGS: dict[str, Callable[[Mapping[str, Any]], Any]] = {
    "output_voltage_v": lambda row: row["output_nominal_v"],
    "input_power_w": lambda row: (
        row["output_nominal_v"] * row["output_current_a"] + 1.0 if "output_nominal_v" in row else ""
    ),
    "power_factor": lambda row: 0.9,
    "ripple_mv_pp": lambda row: 20.0,
    "voltage_v": lambda row: 9.0,
    "current_a": lambda row: 1.5,
    "position": lambda row: "",
    # A port may send fewer objects than it has positions.
    "word": lambda row: "0x0801912C" if row.get("position") == 1 else "",
    "protocol": lambda row: "" if row.get("position") else "bc-dcp",
}


def filled_in(asked: PlannedRun, *, points: int | None = None) -> bytes:
    """The planned rows, or the first of them, with readings."""
    file = io.StringIO()
    lines = csv.writer(file, lineterminator="\n")
    lines.writerow(asked.columns)
    for cells in asked.rows[:points]:
        row: dict[str, Any] = dict(zip(asked.columns, cells, strict=True))
        wanted = [name for name in asked.columns if row[name] is None]
        row |= {name: READINGS[name](row) for name in wanted}
        # A row without a word or a protocol says nothing.
        if row.get("word") != "" or row.get("protocol"):
            lines.writerow(row.values())
    return file.getvalue().encode("utf-8")


ROWS_KINDS = pytest.mark.parametrize(
    "slug", ["efficiency", "ripple", "port-scan", "sharing", "device-match"]
)


@ROWS_KINDS
def test_a_plan_that_was_filled_in_whole_is_done_and_one_with_its_first_points_in_part(
    slug: str, editor: User
) -> None:
    adapter = whole_adapter()

    def planned() -> Planned:
        return next(
            item for item in queries.planned_runs(adapter, viewer=editor) if item.kind.slug == slug
        )

    asked = planned().asked
    fields = dict(asked.fields)
    said = {
        "kind": slug,
        "mains_v": fields.pop("mains_v", None),
        "port": adapter.ports.filter(label=fields.pop("port", "")).first(),
        "by": editor,
        "method_fields": {name: fields[name] for name in fields if name != "mains_hz"},
    }
    assert planned().state == "missing"
    accepted(adapter, filled_in(asked, points=3), **said)
    assert planned().state == "partly"
    accepted(adapter, filled_in(asked), **said)
    assert (planned().state, planned().lacking) == ("accepted", ())


def test_a_plan_of_logs_is_done_for_each_device(editor: User) -> None:
    adapter = whole_adapter()
    c1 = adapter.ports.get(label="C1")
    log = "\n".join(["time_s,voltage_v,current_a", *(f"{second},9,2" for second in range(60)), ""])
    accepted(
        adapter,
        log.encode("ascii"),
        kind="charge",
        mains_v=None,
        port=c1,
        method_fields={"device": "made-up-pad"},
        by=editor,
    )
    states = {
        item.asked.fields["device"]: item.state
        for item in queries.planned_runs(adapter, viewer=editor)
        if item.kind.slug == "charge"
    }
    assert states == {"made-up-pad": "accepted", "made-up-phone": "missing"}


def test_the_sheet_of_the_real_plans_opens(adapter: Adapter) -> None:
    planned = queries.planned_runs(adapter, viewer=None)
    book = load_workbook(io.BytesIO(sheet_of(adapter)))
    assert len(book.sheetnames) == len(planned) + 2
    for item, name in zip(planned, book.sheetnames[2:], strict=True):
        assert tuple(next(book[name].iter_rows(values_only=True))) == item.asked.columns
