"""Colours, type and lengths of a chart, after the site's stylesheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Theme = Literal["light", "dark"]
Size = Literal["wide", "narrow", "film"]

THEMES: tuple[Theme, ...] = ("light", "dark")
SIZES: tuple[Size, ...] = ("wide", "narrow", "film")


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of a theme; `series` in the order in which lines take them."""

    paper: str
    sheet: str
    ink: str
    muted: str
    hairline: str
    series: tuple[str, ...]


PALETTES: Mapping[Theme, Palette] = {
    "light": Palette(
        paper="#FBFAF6",
        sheet="#EDEADF",
        ink="#1E2320",
        muted="#59615C",
        hairline="#D8D4C8",
        series=("#9A4A24", "#2F5E9E", "#4E6B2E", "#75497F", "#1C6A70", "#4B5563"),
    ),
    "dark": Palette(
        paper="#161918",
        sheet="#262B29",
        ink="#E8E6DE",
        muted="#A4ABA5",
        hairline="#353B38",
        series=("#E0905F", "#86AEE3", "#A5C274", "#C79AD0", "#5FB8BC", "#A8B3C2"),
    ),
}
# A second mark goes with every colour.
DASHES: tuple[list[int], ...] = ([1, 0], [6, 3], [2, 2], [9, 3, 2, 3], [12, 3], [4, 2, 1, 2])
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")

SERIF = "Charter, 'Bitstream Charter', 'Sitka Text', Cambria, serif"
SANS = "system-ui, -apple-system, 'Segoe UI', Inter, Roboto, sans-serif"


@dataclass(frozen=True, slots=True)
class Sheet:
    """Lengths of a drawing [px]; `labels` is the room for labels right of the plot.

    With a `frame` the whole is fitted into a picture of that width and height.
    """

    width: int
    height: int
    labels: int
    font: int
    title_font: int
    title_characters: int
    label_characters: int
    stroke: float = 2.0
    frame: tuple[int, int] | None = None

    @property
    def mark_area(self) -> float:
        """Of a point [px²]."""
        return 10.5 * self.stroke**2

    @property
    def columns(self) -> int:
        """How many ticks the x axis has room for."""
        return int(self.width // max(75, 5.4 * self.font))

    @property
    def rows(self) -> int:
        """How many ticks the y axis has room for."""
        return int(self.height // max(45, 3.2 * self.font))


SHEETS: Mapping[Size, Sheet] = {
    "wide": Sheet(
        width=640,
        height=310,
        labels=150,
        font=14,
        title_font=18,
        title_characters=76,
        label_characters=20,
    ),
    "narrow": Sheet(
        width=230,
        height=220,
        labels=80,
        font=12,
        title_font=16,
        title_characters=36,
        label_characters=12,
    ),
    # A frame of film, 16:9: type that can be read from a sofa.
    "film": Sheet(
        width=1180,
        height=590,
        labels=360,
        font=30,
        title_font=46,
        title_characters=60,
        label_characters=20,
        stroke=4.5,
        frame=(1920, 1080),
    ),
}
