"""What a reader is told of the instruments of a run, the same for every kind."""

from __future__ import annotations

import pytest

from measurements.kinds.base import Accuracy, AdapterFacts, Setup
from measurements.kinds.instruments import instrument_flags, listed, spoken

VOLTS = Accuracy("Meter A", "output_voltage", reading_percent=0.1, fixed=0.0)
MORE_VOLTS = Accuracy("Meter B", "output_voltage", reading_percent=0.2, fixed=0.0)
WATTS = Accuracy("Meter P", "input_power", reading_percent=0.5, fixed=0.0)


def flags(*accuracies: Accuracy) -> dict[str, str]:
    """Code → detail for a file of output voltages and input powers."""
    setup = Setup(adapter=AdapterFacts(rated_power_w=65.0), accuracies=accuracies)
    found = instrument_flags(setup, quantities=("output_voltage", "input_power"))
    return {flag.code: flag.detail for flag in found}


def test_one_instrument_for_each_quantity_needs_no_remark() -> None:
    assert flags(VOLTS, WATTS) == {}


def test_quantities_without_an_instrument_are_named() -> None:
    assert "output voltage and input power;" in flags()["no-instrument"]
    assert "for input power;" in flags(VOLTS)["no-instrument"]


def test_of_several_instruments_the_one_that_counts_is_named() -> None:
    assert flags(VOLTS, MORE_VOLTS, WATTS) == {
        "several-instruments": "Several instruments are named for one quantity; the first counts: "
        "Meter A for output voltage."
    }


def test_an_instrument_of_another_quantity_does_not_help() -> None:
    heat = Accuracy("Logger", "temperature", reading_percent=0.0, fixed=1.0)
    assert set(flags(VOLTS, heat)) == {"no-instrument"}


@pytest.mark.parametrize(
    ("parts", "text"),
    [((), ""), (("a",), "a"), (("a", "b"), "a and b"), (("a", "b", "c"), "a, b and c")],
)
def test_parts_are_listed_as_in_a_sentence(parts: tuple[str, ...], text: str) -> None:
    assert listed(parts) == text


def test_a_quantity_is_spoken_without_underscores() -> None:
    assert spoken("input_power") == "input power"
