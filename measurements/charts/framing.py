"""A drawing in a picture of a given size, and as pixels."""

from __future__ import annotations

import re

from measurements.charts.labels import Axis

_MARGIN = 64
_ROOT = re.compile(r'<svg\b[^>]*?\bviewBox="0 0 ([\d.]+) ([\d.]+)"[^>]*>')
_PAGE_SCALE = 2.0
# The plot is the first group that is moved, and its background the first path that is drawn there.
_PLOT = re.compile(
    r'<g\b[^>]*?\btransform="translate\(([\d.]+),([\d.]+)\)">.*?'
    r'<path class="background"[^>]*? d="M0,0h([\d.]+)v([\d.]+)h-\3Z"/>',
    re.DOTALL,
)


def told(svg: str, *, x_axis: Axis, y_axis: Axis) -> str:
    """The drawing, saying on its root where the plot lies and what its axes span.

    ``data-plot`` is left, top, width and height in the lengths of its view box; ``data-x`` and
    ``data-y`` are the low and the high end of an axis. Scripts read a place in the plot from them.
    """
    root, plot = _ROOT.search(svg), _PLOT.search(svg)
    if root is None or plot is None:
        raise ValueError("The drawing does not say where its plot is.")
    words = (
        f' data-plot="{plot[1]} {plot[2]} {plot[3]} {plot[4]}"'
        f' data-x="{x_axis.low!r} {x_axis.high!r}" data-y="{y_axis.low!r} {y_axis.high!r}"'
    )
    at = root.end() - 1
    return f"{svg[:at]}{words}{svg[at:]}"


def framed(svg: str, *, frame: tuple[int, int], paper: str) -> str:
    """The drawing as large as it fits, in the middle of a picture of `frame` pixels."""
    root = _ROOT.search(svg)
    if root is None:
        raise ValueError("The drawing does not say how large it is.")
    width, height = frame
    inner = (
        f'<svg x="{_MARGIN}" y="{_MARGIN}" width="{width - 2 * _MARGIN}" '
        f'height="{height - 2 * _MARGIN}" viewBox="0 0 {root[1]} {root[2]}" '
        'preserveAspectRatio="xMidYMid meet">'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<rect width="{width}" height="{height}" fill="{paper}"/>'
        f"{inner}{svg[root.end() :]}</svg>"
    )


def png_of(svg: str, *, is_frame: bool) -> bytes:
    """The drawing as PNG: a frame pixel for pixel, anything else at twice its size for a page."""
    import vl_convert  # noqa: PLC0415, the web process starts without it

    return bytes(vl_convert.svg_to_png(svg, scale=1.0 if is_frame else _PAGE_SCALE))
