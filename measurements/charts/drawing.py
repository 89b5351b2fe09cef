"""The drawing itself."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from measurements.charts.framing import framed, told
from measurements.charts.labels import (
    LETTER,
    Axis,
    SideLabel,
    TopLabel,
    Trace,
    domain,
    needs_side,
    side_labels,
    top_labels,
)
from measurements.charts.look import (
    DASHES,
    PALETTES,
    SANS,
    SERIF,
    SHAPES,
    SHEETS,
    Palette,
    Sheet,
    Size,
    Theme,
)
from measurements.charts.shown import WHOLE, Shown, cut, whole_axis
from measurements.models import Run


def trace_svg(run: Run, theme: Theme, *, size: Size = "wide", shown: Shown = WHOLE) -> str:
    """Draw the trace of a run as its kind declares it.

    Parameters
    ----------
    run : Run
        A computed run; its `trace` and `plot` are read.
    theme : str
        ``light`` or ``dark``.
    size : str
        ``wide``, ``narrow`` for a telephone: fewer pixels, not smaller print; or ``film`` for a
        frame of 1920 × 1080 pixels.
    shown : Shown
        A stretch of the x axis, and the lines that are left out.

    Returns
    -------
    str
        SVG with the finding as title. Gaps of the trace stay gaps.

    Raises
    ------
    ValueError
        The run has no plot, because it was not computed.
    """
    if run.plot is None or run.trace is None:
        raise ValueError("A run that was not computed has no chart.")
    return plot_svg(run.plot, run.trace, theme, size=size, shown=shown)


def plot_svg(
    plot: Mapping[str, Any],
    trace: Trace,
    theme: Theme,
    *,
    size: Size = "wide",
    shown: Shown = WHOLE,
) -> str:
    """Draw the columns of `trace` as `plot` says, which is a `kinds.base.Plot` as plain JSON.

    Returns SVG with the plot's title; None in a column is a gap of its line. Its root tells where
    the plot lies and what its axes span, except in a frame. The y axis is fitted to what is
    shown; names of level rules stay in sight.
    """
    # Loading these takes more than a second: the web process starts without them.
    import altair as alt  # noqa: PLC0415
    import vl_convert  # noqa: PLC0415

    palette, sheet = PALETTES[theme], SHEETS[size]
    if not needs_side(plot):
        sheet = replace(sheet, width=sheet.width + sheet.labels, labels=0)
    x_axis = replace(whole_axis(plot, trace), length=sheet.width)
    low, high = shown.stretch(x_axis)
    x_axis = replace(x_axis, low=low, high=high)
    part = cut(plot, trace, shown)
    y_axis = _y_axis(part.plot, part.trace, otherwise=trace, sheet=sheet)
    plot, trace = part.plot, part.trace
    above = top_labels(plot, x_axis=x_axis, sheet=sheet)
    beside = side_labels(plot, trace, x_axis=x_axis, y_axis=y_axis, sheet=sheet, palette=palette)
    layers = [
        *_bands(alt, plot, x_axis, palette),
        *_rules(alt, plot, palette),
        *_lines(
            alt,
            plot,
            trace,
            made=part.made,
            palette=palette,
            sheet=sheet,
            x_axis=x_axis,
            y_axis=y_axis,
        ),
        *_texts(alt, above, beside, palette=palette, sheet=sheet),
    ]
    chart = (
        alt.layer(*layers)
        .properties(
            width=sheet.width,
            height=sheet.height,
            background=palette.paper,
            # Readers' fonts run up to a fifth wider than the one that was measured with.
            padding={
                "left": 12,
                "top": 4,
                "right": 6 + max((_width(item, sheet=sheet) for item in beside), default=0) // 5,
                "bottom": 4,
            },
            autosize=alt.AutoSizeParams(type="pad", contains="content"),
            title=alt.TitleParams(
                textwrap.wrap(_with_units_kept(plot["title"]), sheet.title_characters),
                subtitle=plot["y_title"],
                anchor="start",
                frame="bounds",
                offset=12,
                color=palette.ink,
                font=SERIF,
                fontSize=sheet.title_font,
                fontWeight="bold",
                lineHeight=sheet.title_font + 4,
                subtitleColor=palette.muted,
                subtitleFont=SANS,
                subtitleFontSize=sheet.font,
                subtitlePadding=6,
            ),
        )
        .configure_view(stroke=None)
        .configure_axis(
            gridColor=palette.hairline,
            domainColor=palette.hairline,
            tickColor=palette.hairline,
            labelColor=palette.muted,
            titleColor=palette.muted,
            labelFont=SANS,
            titleFont=SANS,
            labelFontSize=sheet.font,
            titleFontSize=sheet.font,
            titleFontWeight="normal",
        )
    )
    svg = str(vl_convert.vegalite_to_svg(chart.to_dict()))
    if sheet.frame:
        return framed(svg, frame=sheet.frame, paper=palette.paper)
    return told(svg, x_axis=x_axis, y_axis=y_axis)


def _y_axis(plot: Mapping[str, Any], trace: Trace, *, otherwise: Trace, sheet: Sheet) -> Axis:
    """Fitted to the values that are shown, or to all of them where none is."""
    columns = [line["column"] for line in plot["lines"]]
    values = [value for name in columns for value in trace[name] if value is not None]
    return domain(
        values or [value for name in columns for value in otherwise[name]],
        [rule["value"] for rule in plot["rules"] if rule["axis"] == "y"],
        length=sheet.height,
        pad=0.06,
    )


def _with_units_kept(title: str) -> str:
    """No line ends between a number and its unit (SI Brochure, 5.4.3)."""
    return re.sub(r"(?<=\d) (?=[%°A-Za-zµΩ])", "\N{NO-BREAK SPACE}", title)


def _width(label: SideLabel, *, sheet: Sheet) -> int:
    """Estimated width of a name [px]."""
    return int(max(map(len, label.lines), default=0) * sheet.font * LETTER)


def _lines(
    alt: Any,
    plot: Any,
    trace: Trace,
    *,
    made: frozenset[int],
    palette: Palette,
    sheet: Sheet,
    x_axis: Axis,
    y_axis: Axis,
) -> list[Any]:
    """One layer a series, in the order of declaration; rows that were `made` get no mark."""
    x = alt.X(
        "x:Q",
        scale=alt.Scale(domain=[x_axis.low, x_axis.high], nice=False, zero=False),
        axis=alt.Axis(title=plot["x_title"], tickCount=sheet.columns),
    )
    y = alt.Y(
        "y:Q",
        scale=alt.Scale(domain=[y_axis.low, y_axis.high], nice=False, zero=False),
        axis=alt.Axis(title=None, tickCount=sheet.rows),
    )
    layers = []
    for position, line in enumerate(plot["lines"]):
        values = [
            {"x": x_value, "y": y_value, "i": index}
            for index, (x_value, y_value) in enumerate(
                zip(trace[plot["x"]], trace[line["column"]], strict=True)
            )
            if x_value is not None
        ]
        colour = palette.series[position % len(palette.series)]
        base = alt.Chart(alt.Data(values=values)).encode(x=x, y=y)
        if line["mark"] != "point":
            layers.append(
                base.mark_line(
                    color=colour,
                    strokeWidth=sheet.stroke,
                    strokeDash=[part * sheet.stroke / 2 for part in _dash(position)],
                    strokeJoin="round",
                    invalid="break-paths-show-path-domains",
                ).encode(order="i:Q")
            )
        if line["mark"] != "line":
            layers.append(
                alt.Chart(alt.Data(values=[row for row in values if row["i"] not in made]))
                .encode(x=x, y=y)
                .mark_point(
                    color=colour,
                    fill=colour,
                    size=sheet.mark_area,
                    opacity=1,
                    shape=SHAPES[position % len(SHAPES)],
                    invalid="filter",
                )
            )
    return layers


def _dash(position: int) -> list[int]:
    """Colours repeat after six series; the dash then goes on with another one."""
    return DASHES[(position + position // len(DASHES)) % len(DASHES)]


def _bands(alt: Any, plot: Any, x_axis: Axis, palette: Palette) -> list[Any]:
    if not plot["bands"]:
        return []
    values = [
        {"from": max(band["start"], x_axis.low), "to": min(band["stop"], x_axis.high)}
        for band in plot["bands"]
    ]
    return [
        alt.Chart(alt.Data(values=values))
        .mark_rect(color=palette.sheet, opacity=1, stroke=palette.hairline)
        .encode(x="from:Q", x2="to:Q", y=alt.value(0), y2=alt.value("height"))
    ]


def _rules(alt: Any, plot: Any, palette: Palette) -> list[Any]:
    return [
        alt.Chart(alt.Data(values=[{"at": rule["value"]}]))
        .mark_rule(color=palette.ink, strokeDash=[2, 3], strokeWidth=1.25)
        .encode(**{rule["axis"]: "at:Q"})
        for rule in plot["rules"]
    ]


def _texts(
    alt: Any,
    above: Sequence[TopLabel],
    beside: Sequence[SideLabel],
    *,
    palette: Palette,
    sheet: Sheet,
) -> list[Any]:
    nothing = alt.Data(values=[{}])
    layers = [
        alt.Chart(nothing)
        .mark_text(
            text=label.text,
            color=palette.muted,
            font=SANS,
            fontSize=sheet.font,
            align=label.align,
            baseline="bottom",
            dx=2 if label.align == "left" else -2,
        )
        .encode(x=alt.value(label.x), y=alt.value(-5 - label.row * (sheet.font + 4)))
        for label in above
    ]
    # Each name twice: first as a halo, so that it stays readable over a line.
    for label in beside:
        for halo in (True, False):
            layers.append(
                alt.Chart(nothing)
                .mark_text(
                    text=list(label.lines),
                    color=palette.paper if halo else label.colour,
                    stroke=palette.paper if halo else None,
                    strokeWidth=4 if halo else 0,
                    font=SANS,
                    fontSize=sheet.font,
                    align="left",
                    baseline="middle",
                    lineHeight=sheet.font + 2,
                    dx=9,
                    # Further lines hang below the first: centre the whole.
                    dy=-(len(label.lines) - 1) * (sheet.font + 2) / 2,
                )
                .encode(x=alt.value(label.x), y=alt.value(label.y))
            )
    return layers
