"""What stands beside a comparison: charge curves, efficiency lines, sharing matrices."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import asdict
from typing import Any
from xml.etree import ElementTree

import pytest
from django.contrib.auth.models import User
from django.test import Client
from openpyxl import load_workbook

from catalog.models import Adapter
from comparisons.actions import hash_of, save_comparison
from comparisons.models import Comparison
from comparisons.queries.blocks import block_choices, blocks_of, is_block_key
from measurements.kinds.base import Cell, Condition, Matrix
from measurements.models import Run, Value
from tests.comparisons.charging import adapter, charged, laptop, log
from tests.comparisons.populations import stand
from tests.comparisons.publishing import published_as_read

__all__ = ["charged", "laptop"]  # fixtures

pytestmark = pytest.mark.django_db

LOADS = (25.0, 50.2, 75.0, 100.0)


@pytest.fixture
def three() -> list[Adapter]:
    return [adapter(name) for name in ("Solo 1", "Solo 2", "Solo 3")]


def lit(tested: Adapter, *percent: float, off: float = 0.0) -> None:
    """Standing efficiencies at 20 V, one a load."""
    for load, value in zip(LOADS, percent, strict=False):
        condition = Condition(line="high", output_v=20.0, load_percent=load + off)
        stand(tested, value, metric="efficiency", condition=condition, standard_uncertainty=0.1)


def shared(tested: Adapter) -> Run:
    run = stand(tested, 65.0, metric="sharing-total", condition=Condition(line="high")).run
    assert run is not None
    matrix = Matrix(
        key="combinations",
        title="At most 65 W",
        row_title="Ports in use",
        column_title="Power at the port",
        unit="W",
        decimals=1,
        better="higher",
        rows=("C1+C2",),
        columns=("C1", "C2", "Total"),
        cells=((Cell(45.0), Cell(20.0), Cell(65.0)),),
    )
    run.details = {"matrices": [asdict(matrix)]}
    run.save()
    run.refresh_from_db()
    return run


def efficiency(adapters: list[Adapter]) -> dict[str, Any]:
    (block,) = blocks_of(adapters, ["efficiency:high:20"], viewer=None)
    return block


def test_efficiencies_at_like_loads_share_a_row_and_best_needs_a_clear_difference(
    three: list[Adapter],
) -> None:
    lit(three[0], 90.0, 91.0, 92.0, 91.0)
    lit(three[1], 89.0, 90.9, 91.0, off=0.3)
    block = efficiency(three)
    assert [row["title"] for row in block["rows"]] == [
        "25 % load",
        "50 % load",
        "75 % load",
        "100 % load",
    ]
    words = [[cell and cell["word"] for cell in row["cells"]] for row in block["rows"]]
    # U of the difference is 2 · √2 · 0.1 = 0.28 points: 0.1 is none, and one alone wins nothing.
    assert words == [["best", ""], ["", ""], ["best", ""], ["", None]]
    assert block["title"] == (
        "Invented Solo 1 is measurably ahead at 2 of 3 loads, 230 V mains, 20 V output"
    )
    assert block["headings"] == ["Load", "Invented Solo 1", "Invented Solo 2"]
    assert block["lines"][1]["x"] == [25.3, 50.5, 75.3]


@pytest.mark.parametrize(
    ("other", "title"),
    [
        ((88.0, 88.0, 88.0, 88.0), "Invented Solo 1 is the most efficient at every load in common"),
        ((90.1, 91.1, 92.1, 91.1), "No adapter is measurably ahead at any load in common"),
        ((), "Efficiency over load"),
    ],
)
def test_the_title_says_who_is_ahead_as_far_as_that_is_known(
    three: list[Adapter], other: tuple[float, ...], title: str
) -> None:
    lit(three[0], 90.0, 91.0, 92.0, 91.0)
    lit(three[1], *other)
    assert efficiency(three)["title"] == f"{title}, 230 V mains, 20 V output"


def test_two_that_are_ahead_are_each_given_their_own_loads(three: list[Adapter]) -> None:
    lit(three[0], 90.0, 91.0, 92.0, 91.0)
    lit(three[1], 89.0, 90.0, 93.0, 91.0)
    assert efficiency(three)["title"] == (
        "Invented Solo 1 is measurably ahead at 2, Invented Solo 2 at 1 of 4 loads, 230 V mains, "
        "20 V output"
    )


def test_only_what_there_is_can_be_chosen_and_is_drawn(
    three: list[Adapter], charged: Callable[..., Run]
) -> None:
    lit(three[0], 90.0)
    shared(three[1])
    charged(three[0], log(3.0))
    keys = [choice.key for choice in block_choices(three, viewer=None)]
    assert keys == ["charges:laptop", "efficiency:high:20", "sharing:high"]
    assert all(is_block_key(key) for key in keys)
    missing = ["charges:nothing", "efficiency:low:20", "sharing:low"]
    assert blocks_of(three, missing, viewer=None) == []


@pytest.mark.parametrize(
    "text",
    ["", "charges:", "efficiency:high", "efficiency:mid:20", "sharing", "charges:a b", "x:y"],
)
def test_a_key_is_written_in_one_of_three_ways(text: str) -> None:
    assert not is_block_key(text)


def test_a_published_comparison_keeps_its_drawings(
    three: list[Adapter], charged: Callable[..., Run], editor: User, client: Client
) -> None:
    for tested, amperes in zip(three, (3.0, 2.0), strict=False):
        charged(tested, log(amperes))
    lit(three[0], 90.0, 91.0, 92.0, 91.0)
    run = shared(three[1])
    draft = save_comparison(
        Comparison(
            title="Side by side", blocks=["charges:laptop", "efficiency:high:20", "sharing:high"]
        ),
        adapters=three,
        metrics=["no-load-power"],
        conditions={},
        by=editor,
    )
    address = "/comparisons/side-by-side/"
    drawing = f"{address}charts/1.svg"
    assert client.get(drawing).status_code == 404  # a draft
    published = published_as_read(draft, by=editor)
    assert published.frozen is not None
    charges, _, sharing = published.frozen["blocks"]
    assert [line["adapter"] for line in charges["lines"]] == [item.slug for item in three[:2]]
    assert charges["title"] == "Invented Solo 2 charges it measurably differently"
    assert sharing["matrices"][0]["matrices"] == run.details["matrices"]
    assert "Not measured: Invented Solo 1 and Invented Solo 3." in sharing["notes"]
    before = client.get(drawing)
    assert ElementTree.fromstring(before.content).tag.endswith("svg")
    assert b"measurably differently" in before.content

    charged(three[1], log(3.0))
    Value.objects.filter(metric="efficiency").update(value=50.0)
    Run.objects.filter(pk=run.pk).update(details={})
    published.refresh_from_db()
    assert hash_of(published.frozen) == published.frozen_hash
    assert client.get(drawing).content == before.content
    page = client.get(address).content.decode()
    title = "Invented Solo 2 charges it measurably differently"
    told = f"is drawn under “{title}” that was superseded, withdrawn or amended since."
    assert f"1 run {told}" in page
    run.amendments.create(reason="The other line.", before={}, after={}, identity="a" * 64)
    page = client.get(address).content.decode()
    assert "1 run is drawn under “Power by ports in use" in page
    assert "C1+C2" in page
    book = load_workbook(io.BytesIO(client.get("/comparisons/side-by-side.xlsx").content))
    assert book.sheetnames == ["Table", "Cells", "Remarks", "Drawing 1", "Drawing 2"]
    assert [cell.value for cell in book["Drawing 2"][2]] == ["25 % load", 90.0, 0.2]
    assert [cell.value for cell in book["Drawing 1"][1]][:4] == [
        "Quantity",
        "Invented Solo 1",
        "Difference: Invented Solo 1",
        "U of it: Invented Solo 1",
    ]
    assert "90.0" in page
    assert client.get(drawing, headers={"If-None-Match": before["ETag"]}).status_code == 304
    for wrong in ("?theme=pink", "?size=huge", "?colour=red"):
        assert client.get(drawing + wrong).status_code == 400
    for nothing in ("charts/3.svg", "charts/4.svg", "charts/0.svg"):
        assert client.get(address + nothing).status_code == 404
