"""Formulas typeset: from the plain text in which a metric declares its own to MathML.

The plain text stays the formula: what is drawn holds the same signs in the same order, only
placed as a book would, and pages show both.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

_TOKEN = re.compile(
    r"""
    (?P<space>\s+)
    | (?P<number>\d+(?:\.\d+)?)
    | (?P<indexed>[^\W\d_²](?:_[A-Za-z]+(?:\ load)?|(?<=[α-ω])\d+))
    | (?P<word>[^\W\d_²]+(?:-[^\W\d_²]+)*)
    | (?P<sign>.)
    """,
    re.VERBOSE,
)

# Words that are quantities or functions; every other word is read as language.
_FUNCTIONS = frozenset({"max", "min", "median", "mean", "exp", "cos", "sin", "dt"})
_QUANTITIES = frozenset({"length", "width", "height", "mass", "RMS", "sharing-total"})
_UNITS = frozenset({"W", "A", "V", "s", "h", "min"})
_OPENING = {"(": ")", "|": "|"}

_Part = Literal["factor", "dot", "slash", "sign", "text"]
_SIGNS: dict[str, _Part] = {"·": "dot", "/": "slash", "∫": "factor", "Σ": "factor"}
_LARGE = ' largeop="true"'


@dataclass(frozen=True, slots=True)
class _Node:
    """A piece of a formula: its MathML, what it is, and what of it stays without parentheses."""

    part: _Part
    markup: str
    bare: str = ""

    @property
    def inner(self) -> str:
        """Without the parentheses that a fraction or a root replaces."""
        return self.bare or self.markup


@dataclass(frozen=True, slots=True)
class _Token:
    sort: str
    text: str
    spaced: bool


def mathml(formula: str) -> str:
    """A formula in plain text as a MathML element; "" where it is nothing but words. [-]"""
    tokens = _tokens(formula)
    if not any(token.sort in ("number", "indexed") or token.text in "=·√∫−|/" for token in tokens):
        return ""
    nodes, _ = _sequence(tokens, start=0, closing="")
    return f'<math display="block"><mrow>{_joined(nodes)}</mrow></math>'


def _tokens(formula: str) -> list[_Token]:
    found: list[_Token] = []
    spaced = False
    for match in _TOKEN.finditer(formula):
        sort = match.lastgroup or ""
        if sort == "space":
            spaced = True
            continue
        found.append(_Token(sort, match.group(), spaced))
        spaced = False
    return found


def _sequence(
    tokens: Sequence[_Token], *, start: int, closing: str
) -> tuple[tuple[_Node, ...], int]:
    """The pieces up to `closing`, and where the reading goes on behind it."""
    nodes: list[_Node] = []
    at = start
    while at < len(tokens) and tokens[at].text != closing:
        at = _read(tokens, at, nodes)
    return tuple(nodes), at + 1


def _read(tokens: Sequence[_Token], at: int, nodes: list[_Node]) -> int:
    """Take one piece from `tokens` to `nodes`; where the next begins."""
    token = tokens[at]
    if token.text == "²" and nodes:
        base = nodes.pop()
        nodes.append(_Node("factor", f"<msup><mrow>{base.markup}</mrow><mn>2</mn></msup>"))
        return at + 1
    if token.text == "√" and at + 1 < len(tokens):
        inside: list[_Node] = []
        following = _read(tokens, at + 1, inside)
        markup = "".join(node.inner for node in inside)
        nodes.append(_Node("factor", f"<msqrt><mrow>{markup}</mrow></msqrt>"))
        return following
    if token.text in _OPENING:
        closing = _OPENING[token.text]
        held, following = _sequence(tokens, start=at + 1, closing=closing)
        inner = _joined(held)
        markup = f"<mrow><mo>{token.text}</mo>{inner}<mo>{closing}</mo></mrow>"
        if nodes and token.text == "(" and not token.spaced and nodes[-1].part == "factor":
            function = nodes.pop()
            nodes.append(_Node("factor", f"<mrow>{function.markup}{markup}</mrow>"))
        else:
            nodes.append(_Node("factor", markup, bare=inner if token.text == "(" else ""))
        return following
    nodes.append(_single(tokens, at))
    return at + 1


def _single(tokens: Sequence[_Token], at: int) -> _Node:
    token = tokens[at]
    text = escape(token.text)
    if token.sort == "number":
        return _Node("factor", f"<mn>{text}</mn>")
    if token.sort == "indexed":
        index = token.text[1:].lstrip("_")
        return _Node("factor", f"<msub><mi>{text[0]}</mi><mtext>{escape(index)}</mtext></msub>")
    if token.sort == "word":
        return _word(tokens, at)
    return _Node(_SIGNS.get(text, "sign"), f"<mo{_LARGE if text in '∫Σ' else ''}>{text}</mo>")


def _word(tokens: Sequence[_Token], at: int) -> _Node:
    word = tokens[at].text
    before = tokens[at - 1] if at else None
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if before is not None and before.sort == "number" and word in _UNITS:
        return _Node("factor", f'<mspace width=".2em"/><mtext>{word}</mtext>')
    if word == "dt":
        return _Node("factor", '<mspace width=".15em"/><mi>d</mi><mi>t</mi>')
    article = word == "a" and before is not None and after is not None and after.sort == "word"
    if word in _FUNCTIONS:
        return _Node("factor", f'<mi>{word}</mi><mspace width=".2em"/>')
    if word in _QUANTITIES:
        return _Node("factor", f"<mtext>{word}</mtext>")
    if not article and (len(word) == 1 or (len(word) == 2 and word[0] in "Δ")):
        return _Node("factor", f"<mi>{escape(word)}</mi>")
    return _Node("text", f"<mtext>&#xA0;{escape(word)}&#xA0;</mtext>")


def _joined(nodes: Sequence[_Node]) -> str:
    """The pieces side by side, quotients as fractions.

    Behind words a slash stays a slash: what it divides is not told by the signs alone.
    """
    out: list[_Node] = []
    worded = False
    at = 0
    while at < len(nodes):
        node = nodes[at]
        if node.part == "text":
            worded = True
        elif (node.part == "sign" and node.markup == "<mo>,</mo>") or node.markup == "<mo>;</mo>":
            worded = False
        if node.part == "slash" and not worded:
            above = _tail(out)
            stop = at + 1
            while stop < len(nodes) and nodes[stop].part == "factor":
                stop += 1
            if above and stop > at + 1:
                del out[len(out) - len(above) :]
                out.append(_fraction(above, nodes[at + 1 : stop]))
                at = stop
                continue
        out.append(node)
        at += 1
    return "".join(node.markup for node in out)


def _tail(nodes: Sequence[_Node]) -> Sequence[_Node]:
    """The product at the end of `nodes`."""
    start = len(nodes)
    while start and nodes[start - 1].part in ("factor", "dot"):
        start -= 1
    return nodes[start:]


def _fraction(above: Sequence[_Node], below: Sequence[_Node]) -> _Node:
    top, bottom = (
        part[0].inner if len(part) == 1 else "".join(node.markup for node in part)
        for part in (above, below)
    )
    return _Node("factor", f"<mfrac><mrow>{top}</mrow><mrow>{bottom}</mrow></mfrac>")
