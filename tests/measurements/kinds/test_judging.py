from __future__ import annotations

import pytest

from measurements.kinds.base import AdapterFacts, Condition, Measured, PortFacts, Setup
from measurements.kinds.judging import (
    ambient_deviations,
    judge,
    mains_deviations,
    method_deviations,
    supply_deviations,
)
from measurements.metrics.limits import Limit, limits_for

PORTS = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
SINGLE = AdapterFacts(rated_power_w=65, supply="single")


def limit_of(scheme: str, *, power: float = 65, quantity: str = "no-load-power") -> Limit:
    (found,) = (
        item
        for item in limits_for(power, supply="single")
        if (item.scheme, item.quantity) == (scheme, quantity)
    )
    return found


def setup(
    *,
    mains_v: float | None = 230,
    mains_hz: float | None = 50,
    ambient_c: float | None = 23,
    adapter: AdapterFacts = SINGLE,
) -> Setup:
    return Setup(
        adapter=adapter, line="high", mains_v=mains_v, mains_hz=mains_hz, ambient_c=ambient_c
    )


def power(value: float, *, uncertainty: float = 0.001) -> Measured:
    return Measured("no-load-power", value, uncertainty, Condition(line="high"))


def test_every_limit_on_the_metric_gives_one_verdict_and_no_other_limit_does() -> None:
    verdicts = judge(power(0.2124), limits_for(65, supply="single"))
    assert [(verdict.scheme, verdict.outcome) for verdict in verdicts] == [
        ("level-vi", "fail"),
        ("eu-2019-1782", "fail"),
        ("coc-v5-tier-1", "pass"),
        ("coc-v5-tier-2", "fail"),
    ]
    first = verdicts[0]
    assert first.limit == 0.21
    assert first.margin == pytest.approx(-0.0024)
    assert first.expanded_uncertainty == pytest.approx(0.002)
    assert first.condition == Condition(line="high")
    assert first.sense == "at most"


def test_a_limit_within_the_expanded_uncertainty_leaves_it_undecided() -> None:
    (verdict,) = judge(power(0.2124, uncertainty=0.0013), [limit_of("level-vi")])
    assert verdict.outcome == "undecided"


def test_deviations_may_be_the_same_for_every_limit_or_depend_on_it() -> None:
    limits = [limit_of("level-vi"), limit_of("eu-2019-1782")]
    same = judge(power(0.1), limits, deviations=("The record was short.",))
    assert [verdict.deviations for verdict in same] == [("The record was short.",)] * 2
    own = judge(power(0.1), limits, deviations=lambda limit: (limit.scheme,))
    assert [verdict.deviations for verdict in own] == [("level-vi",), ("eu-2019-1782",)]


def test_a_verdict_on_a_limit_from_memory_says_so() -> None:
    limit = limit_of("coc-v5-tier-2", quantity="average-efficiency")
    efficiency = Measured("average-efficiency", 91.0, 0.1, Condition(line="high", output_v=20))
    (verdict,) = judge(efficiency, [limit])
    assert any("from memory" in sentence for sentence in verdict.deviations)


def test_a_run_as_the_method_prescribes_has_no_deviation() -> None:
    assert method_deviations(limit_of("eu-2019-1782"), setup=setup()) == ()
    american = setup(mains_v=115, mains_hz=60, ambient_c=20)
    # What no file shows is said with every verdict of that scheme.
    (warm_up,) = method_deviations(limit_of("level-vi"), setup=american)
    assert "30 min" in warm_up


@pytest.mark.parametrize(("volts", "count"), [(227.7, 0), (232.3, 0), (227.6, 1), (232.4, 1)])
def test_mains_voltage_may_differ_by_one_percent(volts: float, count: int) -> None:
    sentences = mains_deviations(limit_of("eu-2019-1782"), setup=setup(mains_v=volts))
    assert len(sentences) == count
    assert all(f"{volts:g} V" in sentence and "230 V" in sentence for sentence in sentences)


def test_a_european_run_departs_from_level_vi_in_voltage_and_frequency() -> None:
    sentences = mains_deviations(limit_of("level-vi"), setup=setup())
    assert [sentence.split(" was")[0] for sentence in sentences] == [
        "Mains voltage",
        "Mains frequency",
    ]


def test_unknown_mains_are_a_deviation_of_their_own() -> None:
    unknown = setup(mains_v=None, mains_hz=None)
    sentences = mains_deviations(limit_of("level-vi"), setup=unknown)
    assert all("not recorded" in sentence for sentence in sentences)
    assert len(sentences) == 2


@pytest.mark.parametrize(
    ("scheme", "ambient", "departs"),
    [
        ("level-vi", 15, False),
        ("level-vi", 25, False),
        ("level-vi", 25.1, True),
        ("eu-2019-1782", 28, False),
        ("eu-2019-1782", 17.9, True),
    ],
)
def test_ambient_may_differ_by_five_kelvin(scheme: str, ambient: float, departs: bool) -> None:
    sentences = ambient_deviations(limit_of(scheme), setup=setup(ambient_c=ambient))
    assert bool(sentences) is departs


def test_an_ambient_that_was_not_recorded_is_a_deviation() -> None:
    (sentence,) = ambient_deviations(limit_of("level-vi"), setup=setup(ambient_c=None))
    assert sentence.startswith("Ambient not recorded")


def test_several_ports_judged_as_one_supply_name_the_multiple_voltage_limit() -> None:
    adapter = AdapterFacts(rated_power_w=65, supply="adaptive", ports=PORTS)
    (no_load,) = supply_deviations(limit_of("level-vi"), setup=setup(adapter=adapter))
    assert "2 ports" in no_load
    assert "at most 0.3 W" in no_load
    average = limit_of("level-vi", quantity="average-efficiency")
    (efficiency,) = supply_deviations(average, setup=setup(adapter=adapter))
    assert "at least 86 %" in efficiency


@pytest.mark.parametrize(
    "adapter",
    [
        AdapterFacts(rated_power_w=65, supply="multiple", ports=PORTS),
        AdapterFacts(rated_power_w=65, supply="adaptive", ports=PORTS[:1]),
    ],
)
def test_a_multiple_voltage_supply_or_a_single_port_needs_no_such_remark(
    adapter: AdapterFacts,
) -> None:
    assert supply_deviations(limit_of("level-vi"), setup=setup(adapter=adapter)) == ()


def test_a_scheme_without_a_multiple_voltage_row_adds_no_remark() -> None:
    adapter = AdapterFacts(rated_power_w=65, supply="adaptive", ports=PORTS)
    assert supply_deviations(limit_of("coc-v5-tier-1"), setup=setup(adapter=adapter)) == ()
