"""Every method's own plan fits the door that it leads to: fields, columns, and the sheet."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from openpyxl import load_workbook

from catalog.actions import ClaimFacts, PortFacts
from catalog.models import Adapter
from measurements import queries
from measurements.forms import RunForm
from measurements.kinds import all_kinds
from measurements.kinds.base import Kind
from measurements.management.sheets import sheet_of
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db

EVERY_KIND = pytest.mark.parametrize("kind", all_kinds(), ids=lambda kind: kind.slug)


@pytest.fixture(params=["bare", "full"])
def adapter(request: pytest.FixtureRequest) -> Adapter:
    """An adapter of which only the rating is known, and one with three ports and claims."""
    if request.param == "bare":
        return make_adapter(ports=())
    return make_adapter(
        "Trio 140",
        rated_power_w=140.0,
        ports=(
            PortFacts("C1", "usb-c", 140.0),
            PortFacts("C2", "usb-c", 65.0),
            PortFacts("A1", "usb-a", 22.5),
        ),
        claims=(ClaimFacts("28 V 5 A", port="C1", voltage_v=28.0, current_a=5.0),),
    )


def is_known(kind: Kind, name: str) -> bool:
    return any(
        name.endswith(column.name[1:]) if column.is_family else name == column.name
        for column in kind.columns
    )


@EVERY_KIND
def test_the_upload_takes_what_is_planned(kind: Kind, adapter: Adapter, reviewer: User) -> None:
    for asked in kind.plan(queries.adapter_facts(adapter)):
        said: dict[str, Any] = {"adapter": adapter.slug, "kind": kind.slug, **asked.fields}
        form = RunForm(said, viewer=reviewer)
        assert set(asked.fields) <= set(form.fields)
        # A device is chosen at the bench.
        assert set(form.errors) <= {field.name for field in kind.fields if field.type == "device"}


@EVERY_KIND
def test_planned_columns_are_those_of_the_kind(kind: Kind, adapter: Adapter) -> None:
    for asked in kind.plan(queries.adapter_facts(adapter)):
        assert asked.title
        assert asked.columns
        assert all(is_known(kind, name) for name in asked.columns)
        assert all(len(row) == len(asked.columns) for row in asked.rows)
        required = {column.name for column in kind.columns if column.required}
        assert {name for name in required if not name.startswith("*")} <= set(asked.columns)


def test_the_sheet_of_the_real_plans_opens(adapter: Adapter) -> None:
    planned = queries.planned_runs(adapter, viewer=None)
    book = load_workbook(io.BytesIO(sheet_of(adapter)))
    assert len(book.sheetnames) == len(planned) + 2
    for item, name in zip(planned, book.sheetnames[2:], strict=True):
        assert tuple(next(book[name].iter_rows(values_only=True))) == item.asked.columns
