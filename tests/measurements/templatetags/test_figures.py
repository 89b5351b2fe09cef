"""Numbers as pages show them."""

from __future__ import annotations

import math

import pytest

from measurements.kinds.base import Condition
from measurements.templatetags.figures import (
    condition_words,
    expanded,
    figure,
    grouped,
    scheme_title,
    uncertainty,
)


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (0.21244, 4, "0.2124"),
        (-0.0024, 4, "−0.0024"),
        (-0.00001, 2, "0.00"),
        (1234.5, 1, "1234.5"),
        # Groups of three from five digits on: ISO 80000-1:2009, 7.3.1 (from memory).
        (12345.67, 1, "12\u202f345.7"),
        (None, 2, "–"),
        (math.nan, 2, "–"),
    ],
)
def test_a_figure_has_fixed_decimals_and_a_true_minus(
    value: float | None, decimals: int, shown: str
) -> None:
    assert figure(value, decimals) == shown


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (0.0014, 4, "± 0.0014"),
        (0.00003, 2, "± 0.00003"),
        (0.5, 0, "± 0"),
        (0.04, 1, "± 0.04"),
        (0.05, 1, "± 0.1"),
        (0.0, 3, "± 0"),
        (None, 3, "U not stated"),
    ],
)
def test_an_uncertainty_never_rounds_to_nothing(
    value: float | None, decimals: int, shown: str
) -> None:
    assert uncertainty(value, decimals) == shown


def test_expanded_means_twice_the_standard_uncertainty() -> None:
    assert expanded(0.0007) == 0.0014


def test_counts_part_their_thousands() -> None:
    assert grouped(200) == "200"
    assert grouped(14310) == "14\u202f310"


def test_a_condition_reads_the_same_from_a_value_and_from_a_verdict() -> None:
    condition = Condition(line="high", output_v=20.0)

    assert condition_words(condition) == "230 V mains, 20 V output"
    assert condition_words(condition.as_json()) == condition_words(condition)


def test_a_scheme_has_a_title_and_an_unknown_one_its_key() -> None:
    assert scheme_title("level-vi") == "Level VI (United States)"
    assert scheme_title("iec-62368-1") == "IEC 62368-1:2018 touch temperature"
    assert scheme_title("of-tomorrow") == "of-tomorrow"


def test_an_uncertainty_of_no_consequence_is_not_a_row_of_noughts() -> None:
    assert uncertainty(1e-46, 0) == "± 0"
    assert uncertainty(0.004, 0) == "± 0.004"
    assert uncertainty(2e-5, 0) == "± 0"
