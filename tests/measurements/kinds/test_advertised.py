"""Which current counts as advertised: the scan before the label, the port before any port."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.kinds.advertised import advertised_current, advertised_outputs
from measurements.kinds.base import AdapterFacts, AdvertisedOutput, PortFacts, Setup

C1 = PortFacts("C1", "usb-c")
OWN_PROFILE = AdvertisedOutput("C1", 20.0, 3.25, "profile")
OTHER_PROFILE = AdvertisedOutput("C2", 20.0, 5.0, "profile")
ANY_PROFILE = AdvertisedOutput("", 20.0, 2.0, "profile")
OWN_LABEL = AdvertisedOutput("C1", 20.0, 4.0)
OTHER_LABEL = AdvertisedOutput("C2", 20.0, 4.5)
ANY_LABEL = AdvertisedOutput("", 20.0, 1.5)


def setup(*outputs: AdvertisedOutput, port: PortFacts | None = C1) -> Setup:
    return Setup(AdapterFacts(rated_power_w=65, advertised=outputs), port=port)


@pytest.mark.parametrize(
    ("outputs", "expected"),
    [
        ((ANY_LABEL, OWN_LABEL, ANY_PROFILE, OWN_PROFILE, OTHER_PROFILE), 3.25),
        ((ANY_LABEL, OWN_LABEL, ANY_PROFILE, OTHER_PROFILE), 2.0),
        ((ANY_LABEL, OWN_LABEL, OTHER_PROFILE, OTHER_LABEL), 4.0),
        ((ANY_LABEL, OTHER_PROFILE, OTHER_LABEL), 1.5),
        ((OTHER_PROFILE, OTHER_LABEL), None),
        ((), None),
    ],
)
def test_the_scan_of_the_port_counts_first_and_other_ports_never(
    outputs: tuple[AdvertisedOutput, ...], expected: float | None
) -> None:
    assert advertised_current(setup(*outputs), voltage_v=20.0) == expected


def test_without_a_port_the_highest_of_all_ports_counts_scans_first() -> None:
    outputs = (OWN_LABEL, OTHER_LABEL, OWN_PROFILE, ANY_PROFILE)
    assert advertised_current(setup(*outputs, port=None), voltage_v=20.0) == 3.25
    assert advertised_current(setup(OWN_LABEL, OTHER_LABEL, port=None), voltage_v=20.0) == 4.5
    assert advertised_outputs(setup(*outputs, port=None)) == outputs


def test_a_scan_at_another_voltage_does_not_hide_the_label() -> None:
    at_nine = AdvertisedOutput("C1", 9.0, 3.0, "profile")
    assert advertised_current(setup(at_nine, OWN_LABEL), voltage_v=20.0) == 4.0
    assert advertised_current(setup(at_nine, OWN_LABEL), voltage_v=9.0) == 3.0


@pytest.mark.parametrize(("voltage_v", "expected"), [(20.02, 3.25), (20.05, None)])
def test_a_voltage_is_the_same_within_half_a_step(voltage_v: float, expected: float | None) -> None:
    assert advertised_current(setup(OWN_PROFILE), voltage_v=voltage_v) == expected


def test_what_offers_no_current_is_not_advertised() -> None:
    nothing = AdvertisedOutput("C1", 20.0, 0.0, "profile")
    assert advertised_current(setup(nothing), voltage_v=20.0) is None
    assert advertised_current(setup(nothing, OWN_LABEL), voltage_v=20.0) == 4.0


@given(
    st.lists(
        st.builds(
            AdvertisedOutput,
            st.sampled_from(["", "C1", "C2"]),
            st.sampled_from([5.0, 9.0, 20.0]),
            st.floats(0, 5),
            st.sampled_from(["profile", "label"]),
        ),
        max_size=8,
    ),
    st.sampled_from([None, C1]),
)
def test_order_does_not_matter_and_the_answer_is_one_that_is_stated(
    outputs: list[AdvertisedOutput], port: PortFacts | None
) -> None:
    found = advertised_current(setup(*outputs, port=port), voltage_v=9.0)
    assert found == advertised_current(setup(*reversed(outputs), port=port), voltage_v=9.0)
    stated = {item.current_a for item in outputs if item.voltage_v == 9.0}
    assert found is None or found in stated
