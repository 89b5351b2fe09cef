"""The glossary: every term once, every source known."""

from __future__ import annotations

from measurements.kinds import get_kind
from measurements.standards.glossary import GLOSSARY

TERMS = [term for _, part in GLOSSARY.items() for term in part]


def test_every_term_stands_once() -> None:
    assert len({term.key for term in TERMS}) == len(TERMS)
    assert len({term.word for term in TERMS}) == len(TERMS)


def test_every_source_and_method_that_a_term_names_is_there() -> None:
    for term in TERMS:
        assert bool(term.source) == (term.work is not None), term.key
        assert not term.kind or get_kind(term.kind)


def test_each_part_is_in_the_order_of_its_words() -> None:
    for _, part in GLOSSARY.items():
        words = [term.word.casefold() for term in part]
        assert words == sorted(words)


def test_every_term_of_the_trade_says_where_it_is_from() -> None:
    """What nobody published is common practice, and what nobody read is from memory."""
    assert all(term.source for term in GLOSSARY["Terms of the trade"])
    assert all(term.from_memory for term in TERMS if term.source == "jcgm-100")  # H.2 was read
    assert not any(term.from_memory for term in TERMS if term.source in ("", "common-practice"))


def test_both_tiers_of_the_code_of_conduct_ask_at_a_tenth_of_the_load() -> None:
    """Code of Conduct on external power supplies, version 5: both tables have that column."""
    words = next(term.meaning for term in TERMS if term.key == "code-of-conduct")
    assert "efficiency at 10 % load; Tier 2 asks at least as much" in words
