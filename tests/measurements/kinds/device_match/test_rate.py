"""The match rate over all adapters, in cases that can be worked out by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measurements.kinds.base import Condition, Measured
from measurements.kinds.device_match import KIND
from measurements.kinds.device_match.rate import derive, is_matched, match_probability
from tests.measurements.kinds.device_match.tables import power

BEST = (power(100.0, "a"), power(60.0, "b"), power(20.0, "c"), power(10.0, "d"))


def rate(own: tuple[Measured, ...], *others: tuple[Measured, ...]) -> Measured:
    history = {"own": own, **{f"other-{place}": values for place, values in enumerate(others)}}
    (found,) = derive(history)["own"]
    return found


def test_the_kind_declares_the_rule() -> None:
    assert KIND.across is not None
    assert KIND.across.reads == ("matched-power",)
    assert KIND.across.gives == ("match-rate",)
    assert KIND.across.derive is derive


def test_the_rate_is_the_share_of_devices_near_their_best() -> None:
    own = (power(95.0, "a"), power(30.0, "b"), power(18.0, "c"), power(8.9, "d"))
    found = rate(own, BEST)
    assert found.metric == "match-rate"
    assert found.value == 50.0
    assert found.condition == Condition()
    assert found.apart == ""


def test_exactly_nine_tenths_match_whatever_binary_fractions_make_of_it() -> None:
    assert 0.9 * 31 > 27.9
    assert is_matched(27.9, best_w=31.0)
    assert rate((power(27.9, "a"),), (power(31.0, "a"),)).value == 100
    assert rate((power(27.89, "a"),), (power(31.0, "a"),)).value == 0


def test_a_single_adapter_is_its_own_best() -> None:
    found = rate(BEST)
    assert (found.value, found.standard_uncertainty) == (100, 0)


def test_only_the_adapters_own_devices_count() -> None:
    assert rate((power(100.0, "a"),), BEST).value == 100


def test_a_device_that_nobody_gives_power_does_not_count() -> None:
    own = (power(0.0, "a"), power(5.0, "b"))
    assert rate(own, (power(0.49, "a"),)).value == 100
    assert rate(own, (power(0.51, "a"),)).value == 50
    assert derive({"own": (power(0.0, "a"),)}) == {"own": ()}
    assert derive({"own": (power(0.0, "b"),), "other": (power(5.0, "b"),)})["own"][0].value == 0


def test_an_adapter_without_powers_has_no_rate() -> None:
    assert derive({"own": (), "other": BEST})["own"] == ()
    assert derive({}) == {}


def test_another_adapters_run_can_lower_a_rate() -> None:
    own = (power(100.0, "a"), power(50.0, "b"), power(20.0, "c"))
    assert rate(own).value == 100
    assert rate(own, BEST).value == pytest.approx(200 / 3)


def test_a_rate_over_one_device_stands_apart() -> None:
    assert "one device was" in rate(BEST[:1]).apart
    assert rate(BEST[:2]).apart == ""


def test_values_of_another_metric_without_device_or_set_apart_are_left_out() -> None:
    strangers = (
        Measured("charge-energy", 500.0, 0.0, Condition(device="a")),
        Measured("matched-power", 500.0, 0.0, Condition()),
        Measured("matched-power", 500.0, 0.0, Condition(device="a"), apart="Wrong cable."),
    )
    assert rate(BEST, strangers).value == 100


def test_a_device_at_the_very_bound_is_half_a_device_uncertain() -> None:
    # Margin 0, so p = 1/2 and u = 100 · √(1/4) / 4.
    own = (power(90.0, "a", u=1.0), *BEST[1:])
    found = rate(own, BEST)
    assert found.value == 100
    assert found.standard_uncertainty == pytest.approx(12.5)


def test_the_uncertainty_of_own_and_best_combine() -> None:
    own, best = power(94.0, "a", u=3.0), power(100.0, "a", u=4.0 / 0.9)
    # Margin 4 W over √(3² + 4²) = 5 W.
    chance = match_probability(own, best=best)
    assert chance == pytest.approx(0.5 * (1 + math.erf(0.8 / math.sqrt(2))))


def test_without_uncertainty_a_match_is_certain() -> None:
    best = power(100.0, "a")
    assert match_probability(power(90.0, "a"), best=best) == 1
    assert match_probability(power(89.9, "a"), best=best) == 0


def test_the_best_matches_itself_with_certainty() -> None:
    best = power(100.0, "a", u=50.0)
    assert match_probability(best, best=best) == 1


WATTS = st.floats(0, 240)
SPREADS = st.floats(0, 20)


def histories(watts: st.SearchStrategy[float]) -> st.SearchStrategy[dict[str, Any]]:
    powers = st.dictionaries(st.sampled_from("abcdef"), st.tuples(watts, SPREADS))
    return st.dictionaries(
        st.sampled_from("PQRST"),
        powers.map(lambda own: tuple(power(value, name, u=u) for name, (value, u) in own.items())),
    )


HISTORIES = histories(WATTS)
POWERED = histories(st.floats(1, 240))


@settings(deadline=None)
@given(history=HISTORIES)
def test_rates_are_shares_and_every_device_has_an_adapter_that_matches_it(
    history: dict[str, tuple[Measured, ...]],
) -> None:
    rates = derive(history)
    assert rates.keys() == history.keys()
    for adapter, values in rates.items():
        for found in values:
            count = len(history[adapter])
            assert 0 <= found.value <= 100
            # A trial's variance is at most 1/4, and devices without power only lower the count.
            assert 0 <= found.standard_uncertainty <= 50 + 1e-9
            assert bool(found.apart) or count >= 2
    best = {value.condition.device: 0.0 for values in history.values() for value in values}
    for values in history.values():
        for value in values:
            best[value.condition.device] = max(best[value.condition.device], value.value)
    for adapter, values in history.items():
        if values and all(0.5 <= item.value == best[item.condition.device] for item in values):
            assert (rates[adapter][0].value, rates[adapter][0].standard_uncertainty) == (100, 0)


@settings(deadline=None)
@given(history=POWERED, factor=st.floats(1, 100))
def test_a_rate_does_not_depend_on_the_unit_of_power(
    history: dict[str, tuple[Measured, ...]], factor: float
) -> None:
    scaled = {
        adapter: tuple(
            power(
                factor * item.value,
                item.condition.device,
                u=factor * item.standard_uncertainty,
            )
            for item in values
        )
        for adapter, values in history.items()
    }
    for adapter, values in derive(history).items():
        for before, after in zip(values, derive(scaled)[adapter], strict=True):
            assert after.value == before.value
            assert after.standard_uncertainty == pytest.approx(
                before.standard_uncertainty, abs=1e-3
            )


@settings(deadline=None)
@given(history=HISTORIES, stronger=st.floats(1, 240), device=st.sampled_from("abcdef"))
def test_another_adapter_never_raises_a_rate(
    history: dict[str, tuple[Measured, ...]], stronger: float, device: str
) -> None:
    before = derive(history)
    after = derive({**history, "Z": (power(stronger, device),)})
    for adapter, values in before.items():
        # A device without power so far counts from now on: it lowers a rate, or makes one of 0.
        for old, new in zip(values, after[adapter], strict=False):
            assert new.value <= old.value + 1e-9


@given(
    own=st.floats(0, 240), best=st.floats(0.001, 240), u=st.floats(0.001, 20), more=st.floats(0, 50)
)
def test_the_probability_grows_with_the_power(
    own: float, best: float, u: float, more: float
) -> None:
    highest = power(best, "a", u=u)
    chance = match_probability(power(own, "a", u=u), best=highest)
    assert 0 <= chance <= 1
    assert chance <= match_probability(power(own + more, "a", u=u), best=highest)
