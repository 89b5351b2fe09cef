"""A comparison to take away: CSV, workbook, Markdown, a piece of HTML, an image."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest
from django.contrib.auth.models import User
from django.test import Client
from openpyxl import load_workbook

from catalog.models import Adapter
from comparisons.actions import publish_comparison, save_comparison
from comparisons.models import Comparison
from tests.comparisons.populations import standby_population

pytestmark = pytest.mark.django_db

FORMULA = "=1+1|`x`*y*"
ADDRESS = "http://testserver/comparisons/two-solos/"


@pytest.fixture
def draft(editor: User) -> Comparison:
    pair = standby_population({"Solo 1": 0.05, "Solo 2": 0.06})
    slugs = [adapter.slug for adapter in pair.values()]
    return save_comparison(
        Comparison(
            title="Two solos",
            notes="<script>alert(1)</script>",
            cell_notes=[
                {"adapter": slugs[1], "metric": "no-load-power", "text": FORMULA},
                {"adapter": slugs[0], "metric": "thermal-headroom", "text": "Too large."},
            ],
        ),
        adapters=list(pair.values()),
        metrics=["no-load-power", "thermal-headroom"],
        conditions={},
        groups={slugs[0]: "@home", slugs[1]: "@home"},
        by=editor,
    )


@pytest.fixture
def published(draft: Comparison, editor: User) -> Comparison:
    return publish_comparison(draft, by=editor)


def test_the_csv_has_group_and_remarks_and_runs_no_formula(
    client: Client, published: Comparison
) -> None:
    rows = list(csv.DictReader(io.StringIO(client.get("/comparisons/two-solos.csv").text)))
    assert [row["remarks"] for row in rows] == ["", f"2: {FORMULA}", "3: Too large.", ""]
    assert {row["group"] for row in rows} == {"'@home"}


def test_the_workbook_holds_numbers_as_numbers_and_text_as_text(
    client: Client, published: Comparison
) -> None:
    answer = client.get("/comparisons/two-solos.xlsx")
    assert answer["Content-Disposition"] == 'attachment; filename="two-solos.xlsx"'
    book = load_workbook(io.BytesIO(answer.content))
    table, cells, remarks = book["Table"], book["Cells"], book["Remarks"]
    assert [cell.value for cell in table[1]][4:8] == [
        "Northfold Solo 1",
        "U, k = 2: Northfold Solo 1",
        "Northfold Solo 2",
        "U, k = 2: Northfold Solo 2",
    ]
    first = [cell.value for cell in table[2]]
    assert first == [
        *("Standby", "Standby power", "230 V mains", "W"),
        *(0.05, 0.001, 0.06, 0.001, "Northfold Solo 1", None, None),
    ]
    assert [cell.value for cell in table[3]][4:8] == [None] * 4  # not tested is no number
    # A formula would be of type f (ECMA-376 part 1, 18.18.11 has the others).
    types = {cell.data_type for sheet in book for row in sheet for cell in row}
    assert types <= {"s", "inlineStr", "n"}
    assert cells.max_row == 5
    said = [row[0].value for row in remarks.iter_rows()]
    assert f"2. Northfold Solo 2, Standby power: {FORMULA}" in said
    assert f"SHA-256 of the table: {published.frozen_hash}" in said
    assert ADDRESS in said


def test_the_markdown_is_a_table_that_no_text_breaks(client: Client, published: Comparison) -> None:
    lines = client.get("/comparisons/two-solos.md").text.splitlines()
    table = [line for line in lines if line.startswith("|")]
    # GFM 0.29, 4.10: a bar of a cell is escaped; every other one parts cells.
    assert {len(re.findall(r"(?<!\\)\|", line)) for line in table} == {4}
    assert (
        "| Standby power, W (230 V mains) | 0.0500 ± 0.0010 best | 0.0600 ± 0.0010 (2) |" in lines
    )
    assert "- (1) &lt;script&gt;alert(1)&lt;/script&gt;" in lines
    assert r"- (2) Northfold Solo 2, Standby power: =1+1\|\`x\`\*y\*" in lines
    assert any(published.frozen_hash in line for line in lines)


class Elements(HTMLParser):
    """Every element with its attributes, and all text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_snippet_is_one_plain_table_with_day_hash_and_address(
    client: Client, published: Comparison
) -> None:
    page = client.get("/comparisons/two-solos/embed/")
    (shown,) = re.findall(r'id="snippet"[^>]*>(.*?)</pre>', page.text, re.DOTALL)
    snippet = Elements(Elements(shown).text)  # the page shows it as text
    assert snippet.open == []
    names = [name for name, _ in snippet.seen]
    assert names[0] == "table"
    assert names.count("table") == 1
    assert set(names) <= {"table", "caption", "thead", "tbody", "tfoot", "tr", "th", "td", "a"}
    given = {name for _, attributes in snippet.seen for name in attributes}
    assert given == {"scope", "colspan", "href"}  # nothing that loads, runs or styles
    assert [attrs["href"] for name, attrs in snippet.seen if name == "a"] == [ADDRESS]
    for part in ("Two solos", "0.0500 ± 0.0010 best", published.frozen_hash, "<script>alert(1)"):
        assert part in snippet.text
    assert published.published_at is not None
    assert f"{published.published_at:%Y-%m-%d}" in snippet.text


def test_the_images_say_when_and_where_from(client: Client, published: Comparison) -> None:
    drawn = client.get("/comparisons/two-solos/table.svg")
    assert drawn["Content-Type"] == "image/svg+xml"
    root = ElementTree.fromstring(drawn.content)
    # Lines may be broken anywhere between words.
    text = " ".join("".join(item.itertext()) for item in root.iter() if item.tag.endswith("text"))
    for part in (
        *(published.frozen_hash, ADDRESS, "@home", "best 0.0500", "not tested", FORMULA),
        "other comparable one of its row",  # what is set apart takes part in no comparison
    ):
        assert part in text
    width, height = (float(root.attrib[name]) for name in ("width", "height"))
    for item in root.iter("{http://www.w3.org/2000/svg}text"):
        assert 0 < float(item.attrib["x"]) < width
        assert 0 < float(item.attrib["y"]) < height
    assert not [item for item in root.iter() if item.tag.endswith(("script", "image", "style"))]
    png = client.get("/comparisons/two-solos/table.png?theme=dark")
    # The signature, and width and height of the first chunk (PNG, 5.2 and 11.2.1).
    assert png.content[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(png.content[16:20], "big") == 2 * width
    assert int.from_bytes(png.content[20:24], "big") == 2 * height
    again = client.get("/comparisons/two-solos/table.png", headers={"If-None-Match": drawn["ETag"]})
    assert again.status_code == 200  # another drawing
    for wrong in ("?theme=pink", "?colour=red"):
        assert client.get(f"/comparisons/two-solos/table.svg{wrong}").status_code == 400


def test_a_draft_is_not_given_away(client: Client, draft: Comparison, editor: User) -> None:
    client.force_login(editor)
    for form in ("embed/", "table.svg", "table.png"):
        assert client.get(f"/comparisons/two-solos/{form}").status_code == 404
    for form in ("csv", "xlsx", "md"):
        assert client.get(f"/comparisons/two-solos.{form}").status_code == 200
    assert "A draft, not frozen" in client.get("/comparisons/two-solos.md").text
    client.logout()
    for form in ("csv", "xlsx", "md"):
        assert client.get(f"/comparisons/two-solos.{form}").status_code == 404


def test_signs_that_no_xml_holds_spoil_no_image(
    client: Client, draft: Comparison, editor: User
) -> None:
    draft.title = "Two\x0b solos"
    draft.notes = "An escape \x1b[1m and \ufffe."
    draft.save()
    publish_comparison(draft, by=editor)
    drawn = client.get("/comparisons/two-solos/table.svg")
    assert "An escape [1m and ." in "".join(ElementTree.fromstring(drawn.content).itertext())
    assert client.get("/comparisons/two-solos/table.png").status_code == 200
    assert client.get("/comparisons/two-solos.xlsx").status_code == 200


def test_the_image_of_a_long_table_is_drawn_in_bounds(
    client: Client, published: Comparison, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("comparisons.views.embeds._MOST_PIXELS", 40_000)
    png = client.get("/comparisons/two-solos/table.png").content
    width, height = (int.from_bytes(png[at : at + 4], "big") for at in (16, 20))
    assert 35_000 < width * height < 45_000


def test_a_wide_table_keeps_inside_its_image(client: Client, editor: User) -> None:
    names = {f"Exceedingly long name of an adapter {number}": 0.05 for number in range(12)}
    wide: dict[str, Adapter] = standby_population(names)
    saved = save_comparison(
        Comparison(title="Twelve " * 20),
        adapters=list(wide.values()),
        metrics=["no-load-power"],
        conditions={},
        by=editor,
    )
    publish_comparison(saved, by=editor)
    drawn = client.get(f"/comparisons/{saved.slug}/table.svg")
    root = ElementTree.fromstring(drawn.content)
    for item in root.iter("{http://www.w3.org/2000/svg}text"):
        size, text = float(item.attrib["font-size"]), "".join(item.itertext())
        # Half the size of type is a wide mean for letters of a sans (common practice).
        start = float(item.attrib["x"])
        if item.attrib["text-anchor"] == "end":
            start -= 0.5 * size * len(text)
        assert start >= 0
        assert start + 0.5 * size * len(text) <= float(root.attrib["width"]) + 1
