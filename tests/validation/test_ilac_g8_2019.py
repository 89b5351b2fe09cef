"""ILAC-G8:09/2019, decision rules: vectors for an upper limit of 0.100 W and U = 0.010 W.

The rule (pages 9 and 10) was read; the vectors apply it. Our *undecided* joins the rule's
conditional pass and conditional fail.
"""

from __future__ import annotations

import pytest

from measurements.metrics.decision import decide

VECTORS = [
    (0.080, "pass"),
    (0.095, "undecided"),  # conditional pass
    (0.100, "undecided"),  # conditional pass
    (0.104, "undecided"),  # conditional fail
    (0.115, "fail"),
]


@pytest.mark.parametrize(("value", "outcome"), VECTORS)
def test_an_upper_limit_is_judged_with_a_guard_band_of_u(value: float, outcome: str) -> None:
    decision = decide(value, standard_uncertainty=0.005, limit=0.100, sense="at most")
    assert decision.outcome == outcome
    assert decision.expanded_uncertainty == 0.010
    assert decision.margin == pytest.approx(0.100 - value)


@pytest.mark.parametrize(("value", "outcome"), VECTORS)
def test_a_lower_limit_mirrors_every_sign(value: float, outcome: str) -> None:
    decision = decide(-value, standard_uncertainty=0.005, limit=-0.100, sense="at least")
    assert decision.outcome == outcome
    assert decision.margin == pytest.approx(0.100 - value)
