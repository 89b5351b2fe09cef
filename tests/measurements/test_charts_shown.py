"""A stretch of a chart, and a chart without some of its lines."""

from __future__ import annotations

import io
import re
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageColor

from measurements.charts import WHOLE, Shown, plot_svg, png_of, read_shown
from measurements.charts.framing import told
from measurements.charts.labels import Axis
from measurements.charts.look import PALETTES
from measurements.charts.shown import cut

SERIES = PALETTES["light"].series


def plot(
    *columns: str, mark: str = "line", rules: tuple[Any, ...] = (), bands: tuple[Any, ...] = ()
) -> dict[str, Any]:
    return {
        "title": "Found",
        "x": "x",
        "x_title": "Time [min]",
        "y_title": "Power [W]",
        "lines": [{"column": name, "label": name, "mark": mark} for name in columns],
        "rules": [*rules],
        "bands": [*bands],
    }


def rising() -> dict[str, list[float | None]]:
    """Two lines from corner to corner, one of them upside down."""
    up: list[float | None] = [float(number) for number in range(21)]
    return {"x": up, "a": up, "b": up[::-1]}


def root(svg: str) -> dict[str, list[float]]:
    told_there = ElementTree.fromstring(svg).attrib
    names = ("data-plot", "data-x", "data-y")
    return {name: [float(word) for word in told_there[name].split()] for name in names}


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(st.tuples(st.floats(0.1, 5), st.floats(-100, 100)), min_size=2, max_size=20),
    ends=st.tuples(st.floats(0, 1), st.floats(0, 1)).filter(lambda pair: pair[1] - pair[0] > 0.01),
)
def test_a_cut_line_is_the_line_itself_between_its_ends(
    steps: list[tuple[float, float]], ends: tuple[float, float]
) -> None:
    x = np.cumsum([step for step, _ in steps])
    y = np.array([value for _, value in steps])
    low, high = (float(x[0] + share * (x[-1] - x[0])) for share in ends)
    part = cut(plot("a"), {"x": [*x], "a": [*y]}, Shown(low, high)).trace
    # The reference is NumPy's own interpolation.
    assert part["x"][0] == pytest.approx(low)
    assert part["x"][-1] == pytest.approx(high)
    assert part["a"] == pytest.approx(np.interp(np.array(part["x"], float), x, y), abs=1e-9)
    assert {float(at) for at in x if low <= at <= high} <= {*part["x"]}


def test_a_stretch_between_two_readings_is_drawn_too() -> None:
    part = cut(plot("a"), {"x": [0.0, 10.0], "a": [0.0, 20.0]}, Shown(4.0, 5.0))
    assert part.trace == {"x": [4.0, 5.0], "a": [8.0, 10.0]}
    assert part.made == {0, 1}


def test_pieces_of_a_line_that_runs_back_are_not_joined() -> None:
    trace = {"x": [0.0, 2.0, 4.0, 2.0, 0.0], "a": [0.0, 1.0, 2.0, 3.0, 4.0]}
    part = cut(plot("a"), trace, Shown(0.0, 1.0)).trace
    assert part == {"x": [0.0, 1.0, 1.0, 1.0, 0.0], "a": [0.0, 0.5, None, 3.5, 4.0]}


def test_a_gap_stays_a_gap_and_points_get_no_value_between_them() -> None:
    trace: dict[str, list[float | None]] = {"x": [0.0, 2.0, 4.0], "a": [1.0, None, 3.0]}
    assert cut(plot("a"), trace, Shown(1.0, 3.0)).trace["a"] == [None, None, None]
    whole = {"x": [0.0, 2.0, 4.0], "a": [1.0, 2.0, 3.0]}
    assert cut(plot("a", mark="point"), whole, Shown(1.0, 3.0)).trace["a"] == [None, 2.0, None]


def test_no_mark_stands_where_nothing_was_measured() -> None:
    svg = plot_svg(plot("a", mark="line-point"), rising(), "light", shown=Shown(4.5, 9.5))
    assert svg.count(f'fill="{SERIES[0]}"') == 5


def test_rules_and_bands_outside_the_stretch_go_and_level_rules_stay() -> None:
    drawn = plot(
        "a",
        rules=(
            {"axis": "y", "value": 30.0, "label": "limit"},
            {"axis": "x", "value": 3.0, "label": "early"},
            {"axis": "x", "value": 12.0, "label": "late"},
        ),
        bands=(
            {"start": 0.0, "stop": 5.0, "label": "first"},
            {"start": 5.0, "stop": 15.0, "label": "second"},
        ),
    )
    svg = plot_svg(drawn, rising(), "light", shown=Shown(6.0, 14.0))
    words = {"".join(node.itertext()) for node in ElementTree.fromstring(svg).iter()}
    assert {"limit", "late", "second"} <= words
    assert not {"early", "first"} & words


def test_the_y_axis_is_fitted_to_what_is_shown() -> None:
    both = root(plot_svg(plot("a", "b"), rising(), "light", shown=Shown(5.0, 8.0)))
    assert both["data-x"] == [5.0, 8.0]
    low, high = both["data-y"]
    # 5 to 8 of the one, 12 to 15 of the other, and a margin of 6 % of that.
    assert (low, high) == pytest.approx((5 - 0.6, 15 + 0.6))
    one = root(plot_svg(plot("a", "b"), rising(), "light", shown=Shown(5, 8, frozenset("b"))))
    assert one["data-y"] == pytest.approx([5 - 0.18, 8 + 0.18])


def test_without_any_line_the_axes_stay() -> None:
    none = plot_svg(plot("a", "b"), rising(), "light", shown=Shown(hidden=frozenset("ab")))
    assert root(none) == root(plot_svg(plot("a", "b"), rising(), "light"))
    assert not {SERIES[0], SERIES[1]} & {*re.findall(r'stroke="(#\w+)"[^>]*d="M', none)}


def test_a_line_keeps_its_colour_and_dash_when_another_is_left_out() -> None:
    def strokes(shown: Shown) -> set[tuple[str, str]]:
        svg = plot_svg(plot("a", "b", "x"), rising(), "light", shown=shown)
        return {
            (colour, dash)
            for way, colour, dash in re.findall(
                r'<path[^>]* d="(M[^"]*)"[^>]* stroke="(#\w+)"[^>]* stroke-dasharray="([^"]*)"', svg
            )
        }

    whole, less = strokes(WHOLE), strokes(Shown(hidden=frozenset("a")))
    assert len(whole) == 3
    assert less == {pair for pair in whole if pair[0] != SERIES[0]}


def test_hiding_and_showing_again_gives_the_same_bytes() -> None:
    drawn, trace = plot("a", "b"), rising()
    before = plot_svg(drawn, trace, "light")
    hidden = read_shown({"hide": ["a"]}, drawn, trace)
    assert plot_svg(drawn, trace, "light", shown=hidden) != before
    again = read_shown({"from": [""], "to": [" "], "hide": []}, drawn, trace)
    assert again == WHOLE
    assert plot_svg(drawn, trace, "light", shown=again) == before


@pytest.mark.parametrize("shown", [WHOLE, Shown(1000.0, 1500.0)])
def test_the_plot_lies_where_the_drawing_tells_and_spans_what_it_tells(shown: Shown) -> None:
    """The pixels of a line whose ends are known are the measure."""
    steep = [1000.0 * number for number in range(3)]
    svg = plot_svg(plot("a"), {"x": steep, "a": steep}, "light", shown=shown)
    (left, top, width, height), (x0, x1), (y0, y1) = root(svg).values()
    low, high = shown.stretch(Axis(0.0, 2000.0, 1))
    picture = np.asarray(Image.open(io.BytesIO(png_of(svg, is_frame=False))).convert("RGB"), int)
    colour = np.array(ImageColor.getrgb(SERIES[0]))
    rows, columns = np.nonzero(np.abs(picture - colour).sum(axis=2) < 60)

    def across(value: float) -> float:
        return left + (value - x0) / (x1 - x0) * width

    def down(value: float) -> float:
        return top + (y1 - value) / (y1 - y0) * height

    # Two pixels of the picture a unit of the drawing; a line is two units wide.
    assert columns.min() / 2 == pytest.approx(across(low), abs=2)
    assert columns.max() / 2 == pytest.approx(across(high), abs=2)
    assert rows.min() / 2 == pytest.approx(down(high), abs=2)
    assert rows.max() / 2 == pytest.approx(down(low), abs=2)
    assert across(low) == pytest.approx(left)
    assert across(high) == pytest.approx(left + width)


def test_a_drawing_without_a_plot_tells_nothing_wrong() -> None:
    with pytest.raises(ValueError, match="where its plot is"):
        told('<svg viewBox="0 0 1 1"></svg>', x_axis=Axis(0, 1, 1), y_axis=Axis(0, 1, 1))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"from": ["early"]}, "“from” is a number"),
        ({"to": ["nan"]}, "“to” is a number"),
        ({"to": ["1e999"]}, "“to” is a number"),
        ({"from": ["9"], "to": ["3"]}, "9 is not less than 3"),
        ({"from": ["3"], "to": ["3"]}, "3 is not less than 3"),
        ({"from": ["21"]}, "reaches from 0 to 20"),
        ({"to": ["-1"]}, "reaches from 0 to 20"),
        ({"from": ["3"], "to": ["3.000001"]}, "shorter than a ten-thousandth"),
        ({"hide": ["c"]}, "no line “c”"),
    ],
)
def test_what_cannot_be_shown_is_said(asked: dict[str, list[str]], said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        read_shown(asked, plot("a", "b"), rising())


def test_a_stretch_that_reaches_beyond_the_record_ends_with_it() -> None:
    shown = read_shown({"from": ["-5"], "to": ["7"]}, plot("a"), rising())
    assert root(plot_svg(plot("a"), rising(), "light", shown=shown))["data-x"] == [0.0, 7.0]
