"""Colours of the stylesheet against WCAG 2.2.

Source: Web Content Accessibility Guidelines 2.2 (W3C Recommendation, 2023-10-05): the definitions
of “relative luminance” and “contrast ratio”, and success criteria 1.4.3 (4.5 : 1 for text) and
1.4.11 (3 : 1 for parts of controls). Black on white is 21 : 1 by definition.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from measurements.charts.look import PALETTES

STYLESHEET = Path("brickledger/static/brickledger/brickledger.css").read_text("utf-8")
TEXT = ("ink", "muted", "copper", "blue", "moss", "plum", "teal", "slate", "brick", "ochre")


def luminance(colour: str) -> float:
    """Relative luminance of ``#RRGGBB``, as WCAG 2.2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, from 1 to 21."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def tokens(theme: str) -> dict[str, str]:
    """The colours of a theme as the stylesheet declares them."""
    light, dark = re.findall(r":root \{\n(.*?)\}", STYLESHEET, re.DOTALL)[:2]
    found = dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", light))
    if theme == "dark":
        found |= dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", dark))
    return found


def test_black_on_white_is_21() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", TEXT)
def test_every_colour_of_text_is_readable_on_every_ground(theme: str, name: str) -> None:
    colours = tokens(theme)

    assert contrast(colours[name], colours["paper"]) >= 4.5
    if name in {"ink", "muted"}:
        assert contrast(colours[name], colours["sheet"]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_charts_use_the_colours_of_the_stylesheet(theme: str) -> None:
    colours, palette = tokens(theme), PALETTES[theme]  # type: ignore[index]

    assert palette.series == tuple(
        colours[name] for name in ("copper", "blue", "moss", "plum", "teal", "slate")
    )
    assert (palette.paper, palette.ink, palette.muted, palette.hairline) == tuple(
        colours[name] for name in ("paper", "ink", "muted", "hairline")
    )
