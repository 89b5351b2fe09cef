"""Slow pairings and the reasons that a port's capability gives.

The words are those of the project's vectors: 5 V 3 A, 9 V 3 A, 15 V 3 A, 20 V 2.25 A, 20 V 5 A,
PPS 3.3–16 V 3 A (power limited), PPS 3.3–21 V 5 A.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from catalog.power_delivery.capability import highest_power_w
from catalog.power_delivery.objects import decode_all
from measurements.kinds.base import DeviceFacts, PortFacts, PortProfiles
from measurements.kinds.device_match.pairings import (
    Offer,
    SlowPairing,
    slow_pairings,
    strongest_offer,
)
from measurements.kinds.device_match.pairs import Pair

FIVE, NINE, FIFTEEN = 0x0001912C, 0x0002D12C, 0x0004B12C
TWENTY_WEAK, TWENTY_STRONG = 0x000640E1, 0x000641F4
PPS_LIMITED, PPS_STRONG = 0xC940213C, 0xC1A42164
UP_TO_9 = (FIVE, NINE)
UP_TO_45_W = (FIVE, NINE, FIFTEEN, TWENTY_WEAK)
UP_TO_100_W = (FIVE, NINE, FIFTEEN, TWENTY_STRONG)


def pair(
    watts: float, *, voltage: float = 20.0, protocol: str = "", device: str = "folio-16"
) -> Pair:
    return Pair(device, "C1", protocol, voltage, watts / voltage, watts)


def explained(
    measured: Pair,
    *,
    best: float = 90.0,
    words: tuple[int, ...] = (),
    protocols: tuple[str, ...] = (),
    rated: float | None = None,
    wanted: tuple[float | None, float | None] = (None, None),
) -> tuple[SlowPairing, ...]:
    return slow_pairings(
        (measured,),
        {"folio-16": best},
        profiles=(PortProfiles("C1", words, protocols),),
        ports=(PortFacts("C1", "usb-c", rated),),
        devices=(
            DeviceFacts("folio-16", "Folio 16", voltage_min_v=wanted[0], voltage_max_v=wanted[1]),
        ),
    )


@pytest.mark.parametrize("watts", [81.0, 85.0, 120.0])
def test_a_pair_near_its_best_is_not_slow(watts: float) -> None:
    assert explained(pair(watts)) == ()


def test_a_slow_pair_states_its_share() -> None:
    (found,) = explained(pair(45.0))
    assert (found.best_w, found.share, found.reason) == (90.0, 0.5, "")


def test_a_device_without_a_best_has_no_slow_pairing() -> None:
    assert explained(pair(45.0, device="pebble")) == ()
    assert explained(pair(0.0), best=0.4) == ()


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ((15.0, 20.0), "from 15 V to 20 V"),
        ((20.0, 20.0), "at 20 V"),
        ((12.0, None), "from 12 V up"),
        ((None, 4.0), "up to 4 V"),
    ],
)
def test_a_voltage_that_is_not_offered_is_the_reason(
    wanted: tuple[float | None, float | None], says: str
) -> None:
    (found,) = explained(pair(27.0, voltage=9.0), words=UP_TO_9, wanted=wanted)
    assert found.reason == f"Folio 16 takes its highest power {says}, which C1 does not offer."


def test_an_offer_that_is_too_weak_at_the_wanted_voltage_is_the_reason() -> None:
    (found,) = explained(pair(44.0), words=UP_TO_45_W, wanted=(20.0, 20.0))
    assert found.reason == (
        "C1 offers at most 45 W at 20 V (20 V, 2.25 A); Folio 16 took 90 W on its best adapter."
    )


def test_an_offer_counts_over_all_voltages_when_nobody_knows_the_wanted_one() -> None:
    (found,) = explained(pair(44.0), words=UP_TO_45_W)
    assert found.reason.startswith("C1 offers at most 45 W (15 V, 3 A)")


def test_an_offer_that_would_do_is_no_reason() -> None:
    (found,) = explained(pair(44.0), words=UP_TO_100_W, wanted=(20.0, 20.0))
    assert found.reason == ""


@pytest.mark.parametrize("words", [(), (0, 0), (0xF0000000,), (0x49F28000,)])
def test_a_scan_without_a_usable_object_gives_no_reason(words: tuple[int, ...]) -> None:
    (found,) = explained(pair(44.0), words=words, wanted=(20.0, 20.0))
    assert found.reason == ""


@pytest.mark.parametrize(
    ("rated", "says"), [(65.0, "C1 is rated 65 W"), (90.0, ""), (100.0, ""), (None, "")]
)
def test_a_port_rated_below_the_best_is_the_reason(rated: float | None, says: str) -> None:
    (found,) = explained(pair(60.0), rated=rated)
    assert found.reason.startswith(says)
    assert bool(found.reason) is bool(says)


@pytest.mark.parametrize(
    ("protocol", "protocols", "named"),
    [
        ("ufcs", ("usb-pd", "usb-pd-pps"), True),
        ("usb-pd", ("usb-pd",), False),
        ("USB PD", ("usb-pd",), False),
        ("usb_pd_pps", ("usb-pd-pps",), False),
        ("ufcs", (), False),
        ("", ("usb-pd",), False),
    ],
)
def test_a_protocol_that_the_scan_did_not_find_is_the_reason(
    protocol: str, protocols: tuple[str, ...], named: bool
) -> None:
    (found,) = explained(pair(44.0, protocol=protocol), protocols=protocols)
    assert (protocol != "" and protocol in found.reason) is named
    assert bool(found.reason) is named


@pytest.mark.parametrize(
    ("voltage", "wanted", "named"),
    [
        (5.1, (None, None), True),
        (5.5, (None, None), False),
        (9.0, (None, None), False),
        (5.1, (5.0, 5.0), False),
        (5.1, (5.0, 20.0), True),
    ],
)
def test_only_five_volts_is_the_reason_unless_the_device_wants_no_more(
    voltage: float, wanted: tuple[float | None, float | None], named: bool
) -> None:
    (found,) = explained(pair(10.0, voltage=voltage), wanted=wanted)
    assert found.reason.startswith("Only 5 V was negotiated") is named


def test_the_first_reason_that_applies_is_given() -> None:
    slow = pair(10.0, voltage=5.0, protocol="ufcs")
    (found,) = explained(slow, wanted=(15.0, 20.0), words=UP_TO_9, rated=20.0)
    assert "does not offer" in found.reason
    (found,) = explained(slow, words=UP_TO_9, protocols=("usb-pd",), rated=20.0)
    assert "at most 27 W" in found.reason
    (found,) = explained(slow, words=UP_TO_100_W, protocols=("usb-pd",), rated=20.0)
    assert "5 V" in found.reason
    raised = pair(10.0, voltage=9.0, protocol="ufcs")
    (found,) = explained(raised, words=UP_TO_100_W, protocols=("usb-pd",), rated=20.0)
    assert "ufcs" in found.reason
    (found,) = explained(raised, words=UP_TO_100_W, protocols=("ufcs",), rated=20.0)
    assert "rated" in found.reason


def test_a_port_or_device_that_nobody_describes_gives_no_reason() -> None:
    (found,) = slow_pairings((pair(44.0),), {"folio-16": 90.0}, profiles=(), ports=(), devices=())
    assert found.reason == ""
    (found,) = slow_pairings(
        (pair(10.0, voltage=5.0),), {"folio-16": 90.0}, profiles=(), ports=(), devices=()
    )
    assert found.reason == "Only 5 V was negotiated (5.00 V)."


def test_the_order_of_the_pairs_is_kept() -> None:
    slow = slow_pairings(
        (pair(10.0), pair(89.0), pair(5.0)),
        {"folio-16": 90.0},
        profiles=(),
        ports=(),
        devices=(),
    )
    assert [item.pair.power_w for item in slow] == [10.0, 5.0]


@pytest.mark.parametrize(
    ("words", "low", "high", "offer"),
    [
        (UP_TO_45_W, 0.0, math.inf, Offer(15.0, 3.0, 45.0)),
        (UP_TO_45_W, 16.0, 20.0, Offer(20.0, 2.25, 45.0)),
        (UP_TO_45_W, 10.0, 14.9, None),
        # A programmable supply reaches between the fixed voltages, up to its own limit of 45 W
        # when it is bound by the rating.
        ((FIVE, FIFTEEN, PPS_LIMITED), 10.0, 14.0, Offer(14.0, 3.0, 42.0)),
        ((FIVE, FIFTEEN, PPS_LIMITED), 10.0, 16.0, Offer(15.0, 3.0, 45.0)),
        ((FIVE, PPS_STRONG), 10.0, 11.0, Offer(11.0, 5.0, 55.0)),
        ((FIVE, PPS_STRONG), 21.0, 30.0, Offer(21.0, 5.0, 105.0)),
        # EPR AVS 15–28 V, 140 W; a battery object 3.3–21 V, 45 W.
        ((FIVE, 0xD230968C), 15.0, 28.0, Offer(28.0, 5.0, 140.0)),
        ((FIVE, 0x5A4108B4), 9.0, 12.0, Offer(12.0, 3.75, 45.0)),
        ((), 0.0, math.inf, None),
    ],
)
def test_the_strongest_offer_of_a_stretch_of_voltages(
    words: tuple[int, ...], low: float, high: float, offer: Offer | None
) -> None:
    found = strongest_offer(decode_all(words), voltage_min_v=low, voltage_max_v=high)
    assert found == offer


WORDS = st.lists(
    st.sampled_from(
        [FIVE, NINE, FIFTEEN, TWENTY_WEAK, TWENTY_STRONG, PPS_LIMITED, PPS_STRONG, 0, 0xD230968C]
    )
    | st.integers(0, 0xFFFFFFFF),
    max_size=7,
).map(tuple)


@settings(deadline=None)
@given(words=WORDS)
def test_over_all_voltages_the_offer_is_no_more_than_the_capability(words: tuple[int, ...]) -> None:
    objects = decode_all(words)
    offer = strongest_offer(objects, voltage_min_v=0.0, voltage_max_v=math.inf)
    if offer is None:
        ranges = [supply for item in objects for supply in item.ranges]
        assert all(supply.voltage_min_v > supply.voltage_max_v for supply in ranges)
    else:
        # An object that states a power only is bound by the cable's current as well.
        assert offer.power_w <= highest_power_w(objects) * (1 + 1e-9)


@settings(deadline=None)
@given(words=WORDS, ends=st.lists(st.floats(0, 60), min_size=4, max_size=4).map(sorted))
def test_a_wider_stretch_offers_no_less(words: tuple[int, ...], ends: list[float]) -> None:
    objects = decode_all(words)
    inner = strongest_offer(objects, voltage_min_v=ends[1], voltage_max_v=ends[2])
    outer = strongest_offer(objects, voltage_min_v=ends[0], voltage_max_v=ends[3])
    if inner is not None:
        assert outer is not None
        assert outer.power_w >= inner.power_w * (1 - 1e-9)


MEASURED = st.builds(
    pair, st.floats(0, 240), voltage=st.floats(1, 60), protocol=st.text(max_size=8)
)
ENDS = st.none() | st.floats(0, 60)


@settings(deadline=None)
@given(words=WORDS, measured=MEASURED, best=st.floats(0, 240), wanted=st.tuples(ENDS, ENDS))
def test_any_pair_is_explained_or_left_without_a_reason(
    words: tuple[int, ...],
    measured: Pair,
    best: float,
    wanted: tuple[float | None, float | None],
) -> None:
    for found in explained(
        measured, best=best, words=words, protocols=("usb-pd",), rated=60.0, wanted=wanted
    ):
        assert 0 <= found.share < 0.9
        assert found.reason == "" or found.reason.endswith(".")
