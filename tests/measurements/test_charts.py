"""Charts of runs: what is drawn, where its names stand, and that gaps stay gaps."""

from __future__ import annotations

import io
import re
from dataclasses import asdict
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import Image, ImageChops, ImageColor

from measurements.charts import SIZES, THEMES, Size, Theme, png_of, trace_svg
from measurements.charts.labels import Axis, domain, side_labels, top_labels
from measurements.charts.look import PALETTES, SHEETS
from measurements.kinds.base import Plot, PlotBand, PlotLine, PlotRule
from measurements.models import Run

SHEET = SHEETS["wide"]


def run(
    *,
    lines: int = 2,
    rules: tuple[PlotRule, ...] = (),
    bands: tuple[PlotBand, ...] = (),
    gap: bool = False,
    mark: str = "line",
) -> Run:
    """A computed run with `lines` series that rise side by side; never saved."""
    trace: dict[str, list[float | None]] = {"time_min": [float(minute) for minute in range(20)]}
    for number in range(lines):
        trace[f"s{number}_c"] = [40 + number + minute / 10 for minute in range(20)]
    if gap:
        trace["s0_c"][8:12] = [None] * 4
    plot = Plot(
        title="Warmest at 41.9 °C (a & b), 35 K below <the> limit",
        x="time_min",
        x_title="Time [min]",
        y_title="Temperature [°C]",
        lines=tuple(
            PlotLine(f"s{number}_c", f"sensor {number}", mark)  # type: ignore[arg-type]
            for number in range(lines)
        ),
        rules=rules,
        bands=bands,
    )
    return Run(trace=trace, plot=asdict(plot))


def plot_of(shown: Run) -> dict[str, Any]:
    assert isinstance(shown.plot, dict)
    return shown.plot


def trace_of(shown: Run) -> dict[str, list[float | None]]:
    assert isinstance(shown.trace, dict)
    return shown.trace


def texts(svg: str) -> list[str]:
    return ["".join(node.itertext()) for node in ElementTree.fromstring(svg).iter() if _is(node)]


def _is(node: ElementTree.Element) -> bool:
    return node.tag.endswith("}text")


def paths(svg: str, colour: str) -> list[str]:
    return re.findall(rf'<path[^>]*d="([^"]*)"[^>]*stroke="{colour}"', svg)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("size", SIZES)
def test_a_chart_holds_its_finding_its_units_and_every_name(theme: Theme, size: Size) -> None:
    rules = (PlotRule("y", 77.0, "touch limit"), PlotRule("x", 5.0, "50 %"))
    svg = trace_svg(run(rules=rules, bands=(PlotBand(0, 5, "stage 1"),)), theme, size=size)

    shown = " ".join(texts(svg)).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Warmest at 41.9 °C",
        "<the> limit",
        "Temperature [°C]",
        "Time [min]",
        "sensor 0",
        "sensor 1",
        "touch limit",
        "50 %",
        "stage 1",
    ):
        assert words in shown
    assert PALETTES[theme].paper in svg


def test_no_line_of_a_title_ends_between_a_number_and_its_unit() -> None:
    shown = run()
    shown.plot = {**plot_of(shown), "title": f"{'x' * 34} 94 W, for 3 min"}
    lines = texts(trace_svg(shown, "light", size="narrow"))
    assert any("94\N{NO-BREAK SPACE}W" in line for line in lines)


@pytest.mark.parametrize("theme", THEMES)
def test_a_frame_of_film_is_16_to_9_and_filled_to_its_edges(theme: Theme) -> None:
    svg = trace_svg(run(), theme, size="film")
    root = ElementTree.fromstring(svg)
    assert (root.get("width"), root.get("height")) == ("1920", "1080")
    picture = Image.open(io.BytesIO(png_of(svg, is_frame=True))).convert("RGB")
    assert picture.size == (1920, 1080)
    paper = ImageColor.getrgb(PALETTES[theme].paper)
    corners = [(0, 0), (1919, 0), (0, 1079), (1919, 1079)]
    assert {picture.getpixel(corner) for corner in corners} == {paper}
    # Something is drawn, and as large as it goes: it reaches one pair of the margins.
    box = ImageChops.difference(picture, Image.new("RGB", picture.size, paper)).getbbox()
    assert box is not None
    left, top, right, bottom = box
    assert right - left > 1920 * 0.85 or bottom - top > 1080 * 0.85


def test_type_in_a_frame_of_film_is_large_enough_to_be_read_from_a_sofa() -> None:
    # Common practice: at least a fortieth of the height of the picture.
    svg = trace_svg(run(), "light", size="film")
    inner = next(node for node in ElementTree.fromstring(svg) if node.tag.endswith("}svg"))
    box = [float(number) for number in str(inner.get("viewBox")).split()]
    scale = min(float(str(inner.get("width"))) / box[2], float(str(inner.get("height"))) / box[3])
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)(?:px)?"', svg)]
    assert min(sizes) * scale >= 1080 / 40


def test_a_picture_for_a_page_has_twice_the_pixels_of_the_drawing() -> None:
    svg = trace_svg(run(), "light")
    root = ElementTree.fromstring(svg)
    picture = Image.open(io.BytesIO(png_of(svg, is_frame=False)))
    assert picture.size == pytest.approx(
        [2 * float(str(root.get(side))) for side in ("width", "height")], abs=2
    )


def test_a_drawing_carries_no_style_and_nothing_that_runs_or_loads() -> None:
    svg = trace_svg(run(), "light")

    # The site's content security policy forbids written-in styles and scripts.
    for word in ("style=", "<style", "<script", "href=", "onload", "foreignObject"):
        assert word not in svg


def test_a_gap_of_the_trace_is_not_bridged() -> None:
    colour = PALETTES["light"].series[0]
    whole = max(paths(trace_svg(run(), "light"), colour), key=len)
    broken = max(paths(trace_svg(run(gap=True), "light"), colour), key=len)

    assert whole.count("M") == 1
    assert broken.count("M") == 2


def test_every_series_has_a_dash_or_shape_of_its_own_beside_its_colour() -> None:
    svg = trace_svg(run(lines=7, mark="line"), "light")
    pairs = re.findall(r'stroke="(#\w+)" stroke-width="2"[^>]* stroke-dasharray="([\d,]+)"', svg)

    assert len(set(pairs)) == 7


def test_a_single_series_is_named_by_its_axis_alone() -> None:
    assert "sensor 0" not in " ".join(texts(trace_svg(run(lines=1), "light")))


def test_two_series_of_one_label_are_told_apart() -> None:
    shown = run()
    for line in plot_of(shown)["lines"]:
        line["label"] = "top"

    words = " ".join(texts(trace_svg(shown, "light")))
    assert "top (s0_c)" in words
    assert "top (s1_c)" in words


def test_points_are_drawn_where_a_kind_asks_for_them() -> None:
    colour = PALETTES["light"].series[0]

    assert trace_svg(run(mark="line-point"), "light").count(f'fill="{colour}"') >= 20


def test_a_series_without_any_value_leaves_the_others_drawn() -> None:
    shown = run()
    trace_of(shown)["s0_c"] = [None] * 20

    words = " ".join(texts(trace_svg(shown, "light")))
    assert "sensor 1" in words
    assert "sensor 0" not in words


def test_a_run_that_was_not_computed_has_no_chart() -> None:
    with pytest.raises(ValueError, match="not computed"):
        trace_svg(Run(), "light")


@pytest.mark.parametrize("values", [[], [None], [5.0, 5.0], [0.0]])
def test_a_scale_is_never_empty(values: list[float | None]) -> None:
    axis = domain(values, [], length=100, pad=0.0)

    assert axis.low < axis.high


def test_a_limit_outside_the_record_is_still_on_the_scale() -> None:
    axis = domain([20.0, 40.0], [77.0], length=100, pad=0.1)

    assert axis.low < 20.0
    assert axis.high > 77.0
    assert axis.pixel(axis.low) == 0
    assert axis.pixel(axis.high) == 100


def test_side_labels_that_would_collide_are_moved_apart_and_stay_on_the_drawing() -> None:
    shown = run(lines=12, rules=(PlotRule("y", 41.0, "mean"),))
    x_axis = Axis(0.0, 19.0, SHEET.width)
    y_axis = Axis(30.0, 80.0, SHEET.height)

    labels = side_labels(
        plot_of(shown),
        trace_of(shown),
        x_axis=x_axis,
        y_axis=y_axis,
        sheet=SHEET,
        palette=PALETTES["light"],
    )

    heights = sorted(label.y for label in labels)
    assert len(heights) == 13
    assert all(below - above >= SHEET.font for above, below in pairwise(heights))
    assert heights[-1] <= SHEET.height + SHEET.font


def test_a_series_that_ends_early_is_named_where_it_ends() -> None:
    shown = run()
    trace_of(shown)["s0_c"][10:] = [None] * 10
    x_axis, y_axis = Axis(0.0, 19.0, SHEET.width), Axis(30.0, 50.0, SHEET.height)

    labels = side_labels(
        plot_of(shown),
        trace_of(shown),
        x_axis=x_axis,
        y_axis=y_axis,
        sheet=SHEET,
        palette=PALETTES["light"],
    )

    ends = {label.lines: label.x for label in labels}
    assert ends["sensor 0",] == pytest.approx(x_axis.pixel(9.0))
    assert ends["sensor 1",] == SHEET.width


def test_top_labels_that_would_collide_take_another_row_and_none_leaves_the_plot() -> None:
    rules = tuple(PlotRule("x", at, f"{at:.0f} % of the way") for at in (5.0, 5.5, 6.0, 18.9))
    shown = run(rules=rules)
    x_axis = Axis(0.0, 19.0, SHEET.width)

    labels = top_labels(plot_of(shown), x_axis=x_axis, sheet=SHEET)

    assert [label.row for label in labels] == [0, 1, 2, 0]
    assert [label.align for label in labels] == ["left", "left", "left", "right"]
