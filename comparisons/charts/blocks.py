"""The lines of a block of a comparison, drawn as a run's chart is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from measurements.charts import Size, Theme, plot_svg


def block_svg(block: Mapping[str, Any], theme: Theme, *, size: Size = "wide") -> str:
    """Draw a block of lines, as `queries.blocks` makes it, as SVG with its finding as title.

    Raises `ValueError` for a block that has no lines to draw.
    """
    lines = block.get("lines")
    if not lines:
        raise ValueError("Only a block of lines is drawn; a matrix is a table.")
    # Every line has rows of its own, so that no point is drawn that was not measured.
    count = sum(len(line["x"]) for line in lines)
    trace: dict[str, list[float | None]] = {"x": [x for line in lines for x in line["x"]]}
    first = 0
    for position, line in enumerate(lines):
        column: list[float | None] = [None] * count
        column[first : first + len(line["y"])] = line["y"]
        trace[f"line_{position}"] = column
        first += len(line["y"])
    plot = {
        "title": block["title"],
        "x": "x",
        "x_title": block["x_title"],
        "y_title": block["y_title"],
        "lines": [
            {"column": f"line_{position}", "label": line["name"], "mark": line["mark"]}
            for position, line in enumerate(lines)
        ],
        "rules": [],
        "bands": [],
    }
    return plot_svg(plot, trace, theme, size=size)
