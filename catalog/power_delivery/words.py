"""Reading power data objects that a person pasted: hexadecimal words in free text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

LARGEST_COUNT = 64
_LARGEST_PROBLEM_COUNT = 20
_SHOWN_CHARACTERS = 40

# What may stand between words: blanks, list signs of a data sheet or a program, invisible signs.
_BETWEEN = re.compile(r"[\s,;|\"'\[\](){}\ufeff\u200b\u00ad]+")
_LINE_END = re.compile(r"\r\n|\r|\n")
_PREFIXED = re.compile(r"0[xX][0-9A-Fa-f]{1,8}")
_BARE = re.compile(r"[0-9A-Fa-f]{8}")
_BYTES = re.compile(r"(?:0[xX])?((?:[0-9A-Fa-f]{2})+)")


@dataclass(frozen=True, slots=True)
class WordProblem:
    """A piece of a pasted text that is no word, in a line counted from 1."""

    line: int
    token: str
    detail: str


@dataclass(frozen=True, slots=True)
class ParsedWords:
    """Either `words`, or the `problems` that kept the text from being read; never both."""

    words: tuple[int, ...] = ()
    problems: tuple[WordProblem, ...] = ()


def parse_word(text: str) -> int:
    """Read one word: ``0x`` and 1 to 8 hexadecimal digits, or 8 digits without prefix.

    A shorter number without prefix could as well be decimal or a position, and is refused.

    Parameters
    ----------
    text : str
        The word, blanks around it ignored. [-]

    Returns
    -------
    word : int
        0 to 0xFFFFFFFF. [-]

    Raises
    ------
    ValueError
        If the text is anything else; the message says what to write.
    """
    token = text.strip()
    if _PREFIXED.fullmatch(token) or _BARE.fullmatch(token):
        return int(token, 16)
    raise ValueError(
        f"{_shown(token)} is not a 32-bit word; write 8 hexadecimal digits, such as 0x0001912C"
    )


def parse_words(
    text: str, *, byte_order: Literal["number", "little-endian bytes"] = "number"
) -> ParsedWords:
    """Read up to 64 words from a pasted text.

    Parameters
    ----------
    text : str
        Words separated by blanks, line ends, commas or list signs. [-]
    byte_order : str
        ``number`` for words written as numbers; ``little-endian bytes`` for rows of bytes in
        the order of the wire, four a word: ``2C 91 01 08`` is 0x0801912C. [-]

    Returns
    -------
    parsed : ParsedWords
        The words, or what is wrong in which line. [-]
    """
    words: list[int] = []
    problems: list[WordProblem] = []
    for number, line in enumerate(_LINE_END.split(text), start=1):
        tokens = [token for token in _BETWEEN.split(line) if token]
        if byte_order == "number":
            _read_numbers(tokens, line=number, words=words, problems=problems)
        else:
            _read_bytes(tokens, line=number, words=words, problems=problems)
        if len(words) > LARGEST_COUNT:
            detail = f"Line {number}: more than {LARGEST_COUNT} words; paste one port at a time."
            problems.append(WordProblem(number, "", detail))
        if len(words) > LARGEST_COUNT or len(problems) >= _LARGEST_PROBLEM_COUNT:
            break
    if problems:
        return ParsedWords(problems=tuple(problems[:_LARGEST_PROBLEM_COUNT]))
    if not words:
        detail = "There is no word in the text; write 8 hexadecimal digits, such as 0x0001912C."
        return ParsedWords(problems=(WordProblem(1, "", detail),))
    return ParsedWords(words=tuple(words))


def _shown(token: str) -> str:
    """The token in quotation marks, cut when it is long."""
    cut = token if len(token) <= _SHOWN_CHARACTERS else f"{token[:_SHOWN_CHARACTERS]}…"
    return f"“{cut}”"


def _read_numbers(
    tokens: list[str], *, line: int, words: list[int], problems: list[WordProblem]
) -> None:
    for token in tokens:
        if len(words) > LARGEST_COUNT or len(problems) >= _LARGEST_PROBLEM_COUNT:
            return
        try:
            words.append(parse_word(token))
        except ValueError as error:
            problems.append(WordProblem(line, token[:_SHOWN_CHARACTERS], f"Line {line}: {error}."))


def _read_bytes(
    tokens: list[str], *, line: int, words: list[int], problems: list[WordProblem]
) -> None:
    digits = ""
    for token in tokens:
        found = _BYTES.fullmatch(token)
        if found is None:
            detail = (
                f"Line {line}: {_shown(token)} is not a row of bytes; write two hexadecimal "
                "digits a byte, such as 2C 91 01 08."
            )
            problems.append(WordProblem(line, token[:_SHOWN_CHARACTERS], detail))
            return
        digits += found.group(1)
    if len(digits) % 8:
        detail = (
            f"Line {line}: {len(digits) // 2} bytes do not make whole words; write four bytes a "
            "word, lowest first."
        )
        problems.append(WordProblem(line, "", detail))
        return
    raw = bytes.fromhex(digits)
    for start in range(0, len(raw), 4):
        if len(words) > LARGEST_COUNT:
            return
        words.append(int.from_bytes(raw[start : start + 4], "little"))
