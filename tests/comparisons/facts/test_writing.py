"""Text and Markdown: what people wrote stays text, addresses are whole."""

from __future__ import annotations

import html
import re

import markdown
import pytest

from comparisons.facts.sheets import Fact, Section, Sheet, Source
from comparisons.facts.writing import as_markdown, as_text


def sheet_with(text: str) -> Sheet:
    fact = Fact(text, place="That is 2nd of 9.", sources=(Source("Run of 1 May 2026", "/runs/1/"),))
    return Sheet(f"Facts on {text}", "/facts/", (Section("heat", (fact,)),), notes=("± is U.",))


def absolute(path: str) -> str:
    return f"https://bench.example{path}"


def test_text_has_a_fact_a_line_with_its_place_and_the_address_of_its_run() -> None:
    text = as_text(sheet_with("It draws 5\u00a0W."), absolute=absolute)
    assert (
        "- It draws 5 W. That is 2nd of 9. [Run of 1 May 2026: https://bench.example/runs/1/]\n"
        in text
    )
    assert text.splitlines()[3] == "https://bench.example/facts/"
    assert "Heat\n----\n" in text


NASTY = (
    "*stars* and _lines_",
    "[a link](https://elsewhere.example)",
    "![a picture](x)",
    "<script>alert(1)</script>",
    "`code` \\ and &amp; entities",
    "# no heading",
    "1. no list",
    "+ no list",
    "- no list",
    "> no quotation",
)


@pytest.mark.parametrize("text", NASTY)
def test_markdown_shows_what_people_wrote_as_they_wrote_it(text: str) -> None:
    """Reference reader: the Markdown library that shows the method pages."""
    shown = markdown.markdown(as_markdown(sheet_with(text), absolute=absolute))
    items = re.findall(r"<li>(.*?)</li>", shown, re.DOTALL)
    assert len(items) == 1
    words = html.unescape(re.sub(r"</?a[^>]*>", "", items[0]))
    assert words == f"{text} That is 2nd of 9. (Run of 1 May 2026)"
    assert re.findall(r'href="([^"]*)"', shown) == [
        "https://bench.example/facts/",
        "https://bench.example/runs/1/",
    ]
    heading = re.search(r"<h1>(.*?)</h1>", shown)
    assert heading is not None
    assert html.unescape(heading[1]) == f"Facts on {text}"


def test_a_line_break_in_a_remark_stays_within_its_fact() -> None:
    text = as_markdown(sheet_with("One line.\n\n# Another"), absolute=absolute)
    assert "- One line. # Another That is" in text


@pytest.mark.parametrize("break_", ["\n", "\r\n", "\u2028", "\x0b"])
def test_no_line_break_makes_a_fact_of_a_part_of_another(break_: str) -> None:
    text = as_text(sheet_with(f"One line.{break_}- It never fails."), absolute=absolute)
    assert [line for line in text.splitlines() if line.startswith("- ")] == [
        "- One line. - It never fails. That is 2nd of 9. "
        "[Run of 1 May 2026: https://bench.example/runs/1/]"
    ]
