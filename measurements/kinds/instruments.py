"""What a reader should know of the instruments of a run, whatever its kind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from measurements.kinds.base import Flag, Setup


def instrument_flags(setup: Setup, *, quantities: Iterable[str]) -> Iterator[Flag]:
    """Quantities for which no instrument is named, and those for which several are.

    `quantities` are those that the run's file holds, as instruments name them
    (``input_power``). Of several instruments the first counts, by name.
    """
    wanted = tuple(quantities)
    missing = [spoken(quantity) for quantity in wanted if not setup.accuracies_of(quantity)]
    if missing:
        yield Flag(
            "no-instrument",
            "warning",
            f"No instrument is named for {listed(missing)}; its accuracy is missing from the "
            "uncertainties, which are too small by it.",
        )
    chosen = [
        f"{named[0].name} for {spoken(quantity)}"
        for quantity in wanted
        if len(named := setup.accuracies_of(quantity)) > 1
    ]
    if chosen:
        yield Flag(
            "several-instruments",
            "note",
            f"Several instruments are named for one quantity; the first counts: {listed(chosen)}.",
        )


def spoken(quantity: str) -> str:
    """A quantity within a sentence: ``input power``."""
    return quantity.replace("_", " ")


def listed(parts: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``; empty without parts."""
    texts = list(parts)
    return " and ".join((", ".join(texts[:-1]), texts[-1])) if len(texts) > 1 else "".join(texts)
