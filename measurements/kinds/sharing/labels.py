"""Combinations of ports as people write them, and the labels of the catalogue."""

from __future__ import annotations

from collections.abc import Iterable

from measurements.kinds.base import PortFacts
from measurements.kinds.port_labels import port_label

SEPARATOR = "+"


def split_combination(text: str) -> tuple[str, ...]:
    """The parts of a combination, in the order of plugging in: ``C1 + C2`` gives C1 and C2.

    A part with nothing in it stays, as an empty text, for a message to name.
    """
    return tuple(part.strip() for part in text.split(SEPARATOR))


def combination_name(labels: Iterable[str]) -> str:
    """The combination as this project writes it: ``C1+C2``."""
    return SEPARATOR.join(labels)


def catalogue_labels(combination: str, *, ports: tuple[PortFacts, ...]) -> tuple[str, ...] | None:
    """The labels of a combination's ports, or None unless each is known and named once."""
    labels = [port_label(part, ports=ports) for part in split_combination(combination)]
    known = tuple(label for label in labels if label is not None)
    return known if len(set(known)) == len(labels) else None
