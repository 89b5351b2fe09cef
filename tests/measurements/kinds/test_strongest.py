"""Which port is the strongest, and what is set apart. The project's own rule."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.kinds.base import (
    AdapterFacts,
    AdvertisedOutput,
    Condition,
    Measured,
    PortFacts,
    Setup,
)
from measurements.kinds.strongest import (
    compared_by_port,
    port_flags,
    port_power_w,
    strongest_port,
    weaker_port,
)

C1 = PortFacts("C1", "usb-c", 65.0)
C2 = PortFacts("C2", "usb-c", 65.0)
A1 = PortFacts("A1", "usb-a", 18.0)
UNRATED = PortFacts("A1", "usb-a")


def setup(
    *ports: PortFacts,
    port: PortFacts | None = None,
    advertised: tuple[AdvertisedOutput, ...] = (),
    rated_power_w: float = 65.0,
) -> Setup:
    """A run on `port` of an adapter with these ports."""
    return Setup(
        adapter=AdapterFacts(rated_power_w=rated_power_w, ports=ports, advertised=advertised),
        port=port,
    )


def test_a_weaker_port_is_named_with_the_strongest() -> None:
    sentence = "Measured on A1; adapters are compared by their strongest port, C1."
    assert weaker_port(setup(A1, C1, port=A1)) == sentence
    assert weaker_port(setup(A1, C1, port=C1)) == ""
    assert strongest_port(setup(A1, C1).adapter) == C1


def test_ports_of_equal_rating_count_both() -> None:
    assert weaker_port(setup(C1, C2, A1, port=C1)) == ""
    assert weaker_port(setup(C1, C2, A1, port=C2)) == ""
    assert "strongest ports, C1 and C2." in weaker_port(setup(C1, C2, A1, port=A1))
    assert strongest_port(setup(C1, C2).adapter) == C1


def test_without_a_stated_port_or_any_known_power_nothing_is_apart() -> None:
    assert weaker_port(setup(C1, A1)) == ""
    nameless = PortFacts("C1", "usb-c")
    assert weaker_port(setup(nameless, UNRATED, port=UNRATED)) == ""
    assert strongest_port(setup(nameless, UNRATED).adapter) == nameless
    assert strongest_port(setup().adapter) is None


def test_what_a_port_advertises_serves_where_no_rating_is_written_down() -> None:
    ports = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    advertised = (
        AdvertisedOutput("C1", 20.0, 5.0),
        AdvertisedOutput("C1", 9.0, 3.0, source="profile"),
        AdvertisedOutput("C2", 20.0, 3.0, source="profile"),
    )
    known = setup(*ports, port=ports[0], advertised=advertised)
    # The scan of C1 goes before its label.
    assert [port_power_w(known.adapter, port) for port in ports] == [27.0, 60.0]
    assert weaker_port(known) == (
        "Measured on C1; adapters are compared by their strongest port, C2."
    )


@pytest.mark.parametrize(("rated_power_w", "is_apart"), [(65.0, True), (100.0, False)])
def test_a_port_of_unknown_power_is_weaker_only_beside_one_that_gives_all(
    rated_power_w: float, is_apart: bool
) -> None:
    run = setup(C1, UNRATED, port=UNRATED, rated_power_w=rated_power_w)
    assert bool(weaker_port(run)) is is_apart


def test_values_keep_their_own_reason_and_get_this_one_behind_it() -> None:
    values = (
        Measured("ripple-loaded", 40.0, 1.0, Condition(line="high")),
        Measured("ripple-no-load", 20.0, 1.0, Condition(line="high"), apart="Only 5 V."),
    )
    sentence = weaker_port(setup(A1, C1, port=A1))
    apart = compared_by_port(values, setup(A1, C1, port=A1))
    assert [item.apart for item in apart] == [sentence, f"Only 5 V. {sentence}"]
    assert [item.value for item in apart] == [40.0, 20.0]
    assert compared_by_port(values, setup(A1, C1, port=C1)) == values
    (flag,) = port_flags(setup(A1, C1, port=A1))
    assert (flag.code, flag.severity) == ("weaker-port", "note")
    assert not list(port_flags(setup(A1, C1, port=C1)))


@given(
    powers=st.lists(st.none() | st.floats(1.0, 240.0), min_size=1, max_size=6),
    rated_power_w=st.floats(1.0, 240.0),
)
def test_the_strongest_port_always_counts_and_so_does_every_stronger_one(
    powers: list[float | None], rated_power_w: float
) -> None:
    ports = [PortFacts(f"C{place}", "usb-c", power) for place, power in enumerate(powers)]
    strongest = strongest_port(setup(*ports).adapter)
    assert strongest is not None
    counts = {
        port.label: not weaker_port(setup(*ports, port=port, rated_power_w=rated_power_w))
        for port in ports
    }
    assert counts[strongest.label]
    known = {port.label: port.rated_power_w for port in ports if port.rated_power_w is not None}
    for label, power_w in known.items():
        for other, others_w in known.items():
            assert counts[other] or not counts[label] or others_w < power_w
