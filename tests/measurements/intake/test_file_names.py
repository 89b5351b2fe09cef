"""Patterns of file names: what they say, what they refuse, and that their time is bounded."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.intake.file_names import Pattern, PatternError

NUMBERS = ("mains_v", "ambient_c", "output_nominal_v")
FIELDS = ("adapter", "kind", "port", "unit", *NUMBERS)


def parsed(text: str) -> Pattern:
    return Pattern.parse(text, fields=FIELDS, numbers=NUMBERS)


@pytest.mark.parametrize(
    ("pattern", "name", "said"),
    [
        (
            "{adapter}_{kind}_{mains_v}V_{port}.csv",
            "northfold-solo-65_no-load_230V_C1.csv",
            {"adapter": "northfold-solo-65", "kind": "no-load", "mains_v": "230", "port": "C1"},
        ),
        (
            "{adapter}-{mains_v}V",
            "northfold-solo-65-115V.CSV",
            {
                "adapter": "northfold-solo-65",
                "mains_v": "115",
            },
        ),
        ("*_{mains_v}v", "Log 17_230,5V.tsv", {"mains_v": "230.5"}),
        (
            "{port} {output_nominal_v}V *",
            "C1 20V second try.npz",
            {
                "port": "C1",
                "output_nominal_v": "20",
            },
        ),
        ("{ambient_c}C.log.csv", "-5.5C.log.csv", {"ambient_c": "-5.5"}),
        ("{unit}", "C:\\logs\\4711.csv", {"unit": "4711"}),
        ("{port}_{ambient_c}", "C1_23.5", {"port": "C1", "ambient_c": "23.5"}),
        ("{mains_v}V", "230.csv", None),
        ("{mains_v}V", "x230V.csv", None),
        ("{unit}_*", "_", None),
    ],
)
def test_a_name_says_what_its_pattern_says(
    pattern: str, name: str, said: dict[str, str] | None
) -> None:
    assert parsed(pattern).read(name) == said


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("plain.csv", "says nothing"),
        ("", "says nothing"),
        ("*", "says nothing"),
        ("{weight}", "There is no field {weight}. There are: adapter,"),
        ("{unit}{port}", "follow each other"),
        ("{unit}*", "follow each other"),
        ("{unit}_{unit}", "stands there twice"),
        ("{unit", "has no partner"),
        ("unit}", "has no partner"),
        ("a/{unit}", "no folders"),
        ("{unit}\x00_", "no control characters"),
        ("_".join(["{unit}", *"*" * 60]), "too many parts"),
        ("{unit}" + "x" * 200, "at most 200 characters"),
    ],
)
def test_a_pattern_that_cannot_be_used_says_why(pattern: str, words: str) -> None:
    with pytest.raises(PatternError, match="(?s)" + words.replace("{", "\\{")):
        parsed(pattern)


def test_of_many_readings_texts_are_short_and_numbers_long() -> None:
    assert parsed("{unit}_{port}").read("a_b_c") == {"unit": "a", "port": "b_c"}
    assert parsed("*_{mains_v} *").read("a_b_230 V") == {"mains_v": "230"}


def test_the_longest_name_against_the_widest_pattern_comes_to_an_end() -> None:
    pattern = parsed("_".join(["*"] * 19 + ["{mains_v}"]))
    assert pattern.read("_" * 250 + "x") is None
    assert parsed("{unit}").read("x" * 300) is None


words = st.text(string.ascii_letters + string.digits + "-", min_size=1, max_size=12)
numbers = st.decimals(min_value=0, max_value=400, places=1).map(str)


@given(words, words, numbers, st.sampled_from(["_", " ", "__", "+x+"]), st.booleans())
def test_what_is_written_by_a_pattern_is_read_back(
    adapter: str, port: str, mains_v: str, between: str, comma: bool
) -> None:
    written = mains_v.replace(".", ",") if comma else mains_v
    name = f"{adapter}{between}{port}{between}{written}V.csv"

    assert parsed(f"{{adapter}}{between}{{port}}{between}{{mains_v}}V").read(name) == {
        "adapter": adapter,
        "port": port,
        "mains_v": mains_v,
    }


@given(st.text(max_size=60), st.text(max_size=60))
def test_nothing_but_its_own_error_comes_out(pattern: str, name: str) -> None:
    try:
        found = parsed(pattern).read(name)
    except PatternError:
        return
    assert found is None or set(found) <= set(FIELDS)
