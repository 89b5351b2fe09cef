"""Formulas as MathML: well formed, nothing lost, and placed as a book would.

The elements and what they mean: MathML Core (W3C), sections 3.2 to 3.3.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.charts.formulas import mathml
from measurements.kinds import all_metrics

FORMULAS = sorted({metric.formula for metric in all_metrics().values()})


def signs(text: str) -> str:
    return "".join(sign for sign in text.replace("²", "2") if sign.isalnum())


def shown(markup: str) -> str:
    return "".join(ElementTree.fromstring(markup).itertext()) if markup else ""


def skeleton(formula: str) -> str:
    """The placing elements with what they hold, without the leaves' own."""
    bare = re.sub(r"</?(?:math|mrow|mi|mn|mo|mtext)(?: [^>]*)?>|<mspace[^>]*>", "", mathml(formula))
    return re.sub(r"\s|&#xA0;", "", bare)


@pytest.mark.parametrize("formula", FORMULAS)
def test_every_declared_formula_is_drawn_with_all_its_signs_in_order(formula: str) -> None:
    markup = mathml(formula)
    if markup:
        assert signs(shown(markup)) == signs(formula)
    else:
        assert not re.search(r"[=·√∫/|]|\d", formula)


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("P_rated / mass", "<mfrac><msub>Prated</msub>mass</mfrac>"),
        ("T/3 = 1", "<mfrac>T3</mfrac>=1"),
        ("E = P · 8760 h / 1000", "E=<mfrac>P·8760h1000</mfrac>"),
        ("(s/√n)²", "<msup>(<mfrac>s<msqrt>n</msqrt></mfrac>)2</msup>"),
        ("P / (a · b)", "<mfrac>Pa·b</mfrac>"),
        ("(a + b) / 2", "<mfrac>a+b2</mfrac>"),
        ("η = ∫ V · I dt / ∫ P_in dt", "η=<mfrac>∫V·Idt∫<msub>Pin</msub>dt</mfrac>"),
        ("100 · n(P ≥ 1) / n", "<mfrac>100·n(P≥1)n</mfrac>"),
        ("1 + a / b − c", "1+<mfrac>ab</mfrac>−c"),
        # Behind words the signs alone do not tell what is divided.
        ("∫ P dt over the last 10 min / 10 min", "∫Pdtoverthelast10min/10min"),
        ("√(a² + b²)", "<msqrt><msup>a2</msup>+<msup>b2</msup></msqrt>"),
        ("η25 + η100", "<msub>η25</msub>+<msub>η100</msub>"),
    ],
)
def test_quotients_roots_powers_and_indices_are_placed(formula: str, expected: str) -> None:
    assert skeleton(formula) == expected


def test_what_is_nothing_but_words_stays_text() -> None:
    assert mathml("least squared deviations, with a penalty for each change") == ""


@given(st.text(alphabet="ab xV_()|/·+−²√∫=<>&\"'12.ηΔ", max_size=30))
def test_any_text_becomes_well_formed_and_keeps_its_signs(formula: str) -> None:
    markup = mathml(formula)
    if markup:
        assert signs(shown(markup)) == signs(formula.replace("_", ""))
