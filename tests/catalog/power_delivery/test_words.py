"""Pasted text is read as people paste it, and a piece that is no word is named."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.power_delivery.words import parse_word, parse_words

FIVE_NINE = (0x0001912C, 0x0002D12C)


@pytest.mark.parametrize(
    "text",
    [
        "0x0001912C 0x0002D12C",
        "0001912C,0002d12c",
        "0x1912C\n0x2D12C\n",
        "\ufeff0X0001912C;\r\n0x0002D12C",
        '["0x0001912C", "0x0002D12C"]',
        "{ 0x0001912C,\r  0x0002D12C, }",
        "| 0001912C | 0002D12C |",
        "0001912C\u00a0\t0002D12C",
    ],
)
def test_words_are_read_in_the_shapes_in_which_they_are_pasted(text: str) -> None:
    parsed = parse_words(text)
    assert parsed.words == FIVE_NINE
    assert parsed.problems == ()


@pytest.mark.parametrize(
    "text", ["2C 91 01 00\n2C D1 02 00", "2C9101002CD10200", "0x2C,0x91,0x01,0x00 2CD10200"]
)
def test_rows_of_bytes_are_read_lowest_first_when_asked(text: str) -> None:
    assert parse_words(text, byte_order="little-endian bytes").words == FIVE_NINE


def test_bytes_are_never_guessed() -> None:
    parsed = parse_words("2C 91 01 08")
    assert parsed.words == ()
    assert [item.token for item in parsed.problems] == ["2C", "91", "01", "08"]
    assert parse_words("2C 91 01 08", byte_order="little-endian bytes").words == (0x0801912C,)


@pytest.mark.parametrize(
    ("text", "line", "token"),
    [
        ("0x0001912C\n\n12.5", 3, "12.5"),
        ("0x0001912C\r\nvolts 0x0002D12C", 2, "volts"),
        ("0x0001912C\r1912C", 2, "1912C"),
        ("0x00001912C", 1, "0x00001912C"),
        ("0x", 1, "0x"),
        ("-0x1912C", 1, "-0x1912C"),
        ("０００１９１２Ｃ", 1, "０００１９１２Ｃ"),
        ("0001_912C", 1, "0001_912C"),
        ("0001912C\n=cmd()", 2, "=cmd"),
    ],
)
def test_a_piece_that_is_no_word_is_named_with_its_line(text: str, line: int, token: str) -> None:
    parsed = parse_words(text)
    assert parsed.words == ()
    problem = parsed.problems[0]
    assert (problem.line, problem.token) == (line, token)
    assert problem.detail.startswith(f"Line {line}: “{token}”")
    assert "0x0001912C" in problem.detail


@pytest.mark.parametrize("text", ["", " \n\t ", "[]", "\ufeff"])
def test_a_text_without_words_is_a_problem(text: str) -> None:
    for parsed in (parse_words(text), parse_words(text, byte_order="little-endian bytes")):
        assert parsed.words == ()
        assert "no word" in parsed.problems[0].detail


def test_bytes_that_do_not_fill_a_word_are_a_problem() -> None:
    parsed = parse_words("2C 91 01 00\n2C D1 02", byte_order="little-endian bytes")
    assert parsed.words == ()
    assert parsed.problems[0].line == 2
    assert "3 bytes" in parsed.problems[0].detail


def test_a_piece_that_is_no_byte_is_a_problem() -> None:
    parsed = parse_words("2C 9 01 00", byte_order="little-endian bytes")
    assert (parsed.problems[0].line, parsed.problems[0].token) == (1, "9")


@pytest.mark.parametrize("separator", [" ", "\n"])
@pytest.mark.parametrize("byte_order", ["number", "little-endian bytes"])
def test_sixty_four_words_are_read_and_one_more_is_refused(separator: str, byte_order: str) -> None:
    def parse(count: int) -> tuple[int, int]:
        text = separator.join(["0001912C"] * count)
        parsed = (
            parse_words(text)
            if byte_order == "number"
            else parse_words(text, byte_order="little-endian bytes")
        )
        return len(parsed.words), len(parsed.problems)

    assert parse(64) == (64, 0)
    assert parse(65) == (0, 1)


def test_a_hostile_text_gives_a_short_answer() -> None:
    parsed = parse_words("x" * 100_000 + " y" * 100_000)
    assert len(parsed.problems) == 20
    assert max(len(item.detail) for item in parsed.problems) < 200
    assert max(len(item.token) for item in parsed.problems) <= 40


@given(text=st.text(max_size=300))
def test_any_text_is_answered_with_words_or_problems_never_both(text: str) -> None:
    for parsed in (parse_words(text), parse_words(text, byte_order="little-endian bytes")):
        assert bool(parsed.words) != bool(parsed.problems)


@given(words=st.lists(st.integers(0, 0xFFFF_FFFF), min_size=1, max_size=64))
def test_what_is_written_as_numbers_or_bytes_is_read_back(words: list[int]) -> None:
    numbers = ", ".join(f"0x{word:08X}" for word in words)
    rows = "\n".join(word.to_bytes(4, "little").hex(" ") for word in words)
    assert parse_words(numbers).words == tuple(words)
    assert parse_words(rows, byte_order="little-endian bytes").words == tuple(words)


def test_one_word_is_read_alone() -> None:
    assert parse_word(" 0x0001912c ") == 0x0001912C
    with pytest.raises(ValueError, match="is not a 32-bit word"):
        parse_word("0001912C 0002D12C")
