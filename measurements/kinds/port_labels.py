"""Ports as files name them, and the labels of the catalogue."""

from __future__ import annotations

from collections.abc import Iterable

from measurements.kinds.base import PortFacts


def port_label(text: str, *, ports: Iterable[PortFacts]) -> str | None:
    """The label of the catalogue's port that the text means, or None.

    Capitals do not count, unless two ports differ by nothing else.
    """
    wanted = text.strip()
    labels = [port.label for port in ports]
    if wanted in labels:
        return wanted
    folded = wanted.casefold()
    return next((label for label in labels if label.casefold() == folded), None)
