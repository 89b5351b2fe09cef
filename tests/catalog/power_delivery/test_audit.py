"""Each rule is found where it is broken, and only there; the audit answers any list of words."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.power_delivery.audit import audit
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.objects import DataObject, decode, decode_all
from catalog.power_delivery.rules import RULES, Rule, found
from catalog.power_delivery.sources import SOURCES
from tests.catalog.power_delivery.audit_cases import BROKEN, KEPT, Case
from tests.catalog.power_delivery.scans import (
    SCAN_20_W,
    SCAN_45_W,
    SCAN_65_W,
    SCAN_140_W,
    findings,
    fixed,
    scan,
)


def of(case: Case) -> list[tuple[str, tuple[int, ...], str]]:
    return [
        (item.severity, item.positions, item.detail)
        for item in findings(
            case.objects,
            rule=case.rule,
            rated_power_w=case.rated_power_w,
            port_rated_power_w=case.port_rated_power_w,
            claims=case.claims,
        )
    ]


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.rule)
def test_a_broken_rule_is_found_once_with_its_place(case: Case) -> None:
    ((severity, positions, detail),) = of(case)
    assert severity == case.severity
    assert positions == case.positions
    for words in case.words:
        assert words in detail


@pytest.mark.parametrize("case", KEPT, ids=lambda case: case.rule)
def test_a_rule_that_is_kept_is_not_found(case: Case) -> None:
    assert of(case) == []


def test_every_rule_has_a_case_that_breaks_it_and_one_that_keeps_it() -> None:
    assert {case.rule for case in BROKEN} == RULES.keys()
    assert {case.rule for case in KEPT} == RULES.keys()


@pytest.mark.parametrize(
    ("objects", "power_w"), [(SCAN_20_W, 20), (SCAN_45_W, 45), (SCAN_65_W, 65), (SCAN_140_W, 140)]
)
def test_a_scan_that_keeps_the_rules_has_notes_at_most(
    objects: Sequence[DataObject], power_w: float
) -> None:
    found_here = audit(objects, rated_power_w=power_w, port_rated_power_w=power_w)
    assert {item.severity for item in found_here} <= {"note"}


def test_the_gravest_findings_come_first() -> None:
    found_here = audit(decode_all([0x0002D12C, 0x0001912C, 0x0003C1F4, 0xF0000000, 0x00640000]))
    order = [item.gravity for item in found_here]
    assert order == sorted(order)
    assert set(order) == {0, 1, 2}


def test_the_position_decides_not_the_place_in_the_list() -> None:
    shuffled = (SCAN_65_W[3], SCAN_65_W[0], *SCAN_65_W[4:], SCAN_65_W[1], SCAN_65_W[2])
    assert audit(shuffled, port_rated_power_w=65) == audit(SCAN_65_W, port_rated_power_w=65)


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.key)
def test_a_rule_names_its_source_and_memory_alone_makes_no_error(rule: Rule) -> None:
    assert rule.source in SOURCES
    assert rule.title
    assert (rule.standing, rule.severity) != ("from memory", "error")
    assert (rule.standing == "common practice") == (rule.source == "common-practice")


def test_a_row_from_memory_softens_an_error() -> None:
    assert found("required-voltage-missing", detail="-").severity == "error"
    softened = found("required-voltage-missing", detail="-", standing="from memory")
    assert (softened.severity, softened.standing) == ("warning", "from memory")


def test_a_finding_has_the_shape_of_the_contract() -> None:
    (finding,) = findings(scan(fixed(9, 3)), rule="first-object-five-volts")
    assert finding.as_json() == {
        "rule": "first-object-five-volts",
        "severity": "error",
        "detail": "The first object must be the fixed 5 V supply; the list begins with object 1 "
        "(fixed, 9 V, 3 A).",
        "source": "Linux kernel, drivers/usb/typec/tcpm/tcpm.c "
        "(checks of source and sink capabilities)",
        "standing": "seen",
        "positions": [1],
    }


@pytest.mark.parametrize("power_w", [0.0, -65.0, float("nan"), float("inf")])
def test_a_rating_that_is_no_power_is_refused_by_name(power_w: float) -> None:
    with pytest.raises(ValueError, match="port_rated_power_w must be a number above 0"):
        audit(SCAN_65_W, port_rated_power_w=power_w)
    with pytest.raises(ValueError, match="rated_power_w must be a number above 0"):
        audit(SCAN_65_W, rated_power_w=power_w)


@given(
    words=st.lists(st.integers(0, 0xFFFF_FFFF), max_size=16),
    power_w=st.none() | st.floats(0.01, 500),
    port_power_w=st.none() | st.floats(0.01, 500),
    claims=st.lists(
        st.builds(
            Claim,
            st.floats(0.1, 60),
            st.floats(0.01, 20),
            st.none() | st.floats(0.1, 60),
        ),
        max_size=3,
    ),
)
def test_any_words_are_audited_in_sentences_about_positions_that_exist(
    words: list[int], power_w: float | None, port_power_w: float | None, claims: list[Claim]
) -> None:
    objects = decode_all(words)
    for item in audit(
        objects, rated_power_w=power_w, port_rated_power_w=port_power_w, claims=claims
    ):
        assert item.rule in RULES
        assert item.detail.endswith(".")
        assert item.detail[0] == item.detail[0].upper()
        assert set(item.positions) <= set(range(1, max(len(words), 1) + 1))


@given(word=st.integers(0, 0xFFFF_FFFF))
def test_a_word_that_is_not_first_is_judged_alike_in_every_message(word: int) -> None:
    def alone(position: int) -> set[str]:
        listed = [
            *SCAN_65_W[:1],
            *(decode(0x0002D12C + (step << 12), position=step + 2) for step in range(position - 2)),
            decode(word, position=position),
        ]
        judged = {"nothing-offered", "range-reversed", "current-above-cable", "reserved-bits-set"}
        return {
            item.rule
            for item in audit(listed)
            if item.positions == (position,) and item.rule in judged
        }

    assert alone(2) == alone(4)
