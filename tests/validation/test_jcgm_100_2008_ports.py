"""JCGM 100:2008 applied to the power of several ports read with the same instruments.

5.1.6, equation (12): relative uncertainties of a product combine in quadrature (from memory).
5.2.2: ten resistors compared with one standard, uncertainty 100 mΩ each, have 1 Ω in series, not
0.32 Ω (numbers read in a reproduction). Ten ports read by one ammeter are the same case: at 1 V
and 1000 A the volt drops out, and an ampere stands for an ohm.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from measurements.intake.columns import Table
from measurements.kinds.base import Accuracy, AdapterFacts, PortFacts, Setup
from measurements.kinds.sharing import KIND
from measurements.kinds.sharing.combinations import combinations_of

LABELS = tuple(f"P{number}" for number in range(1, 11))
TEN_PORTS = AdapterFacts(
    rated_power_w=100.0, ports=tuple(PortFacts(label, "usb-c") for label in LABELS)
)


def together(voltage_v: float, current_a: float, *, labels: tuple[str, ...]) -> Table:
    count = len(labels)
    return Table(
        columns={
            "voltage_v": np.full(count, voltage_v),
            "current_a": np.full(count, current_a),
        },
        rows=np.arange(2, count + 2),
        texts={"combination": ("+".join(labels),) * count, "port": labels},
    )


def meter(quantity: str, *, standard_uncertainty: float) -> Accuracy:
    """An instrument with that standard uncertainty at every reading."""
    return Accuracy("Meter", quantity, reading_percent=0.0, fixed=standard_uncertainty * 3**0.5)


def test_5_2_2_ten_ports_read_with_one_ammeter_have_ten_times_its_uncertainty() -> None:
    ammeter = meter("output_current", standard_uncertainty=0.100)
    (combination,) = combinations_of(
        together(1.0, 1000.0, labels=LABELS), Setup(adapter=TEN_PORTS, accuracies=(ammeter,))
    )
    assert combination.total is not None
    assert combination.total.value == 10_000
    assert combination.total.standard_uncertainty == pytest.approx(1.0, rel=1e-9)
    # Each resistor's own, which taken as independent would give the incorrect 0.32 Ω.
    each = [reading.power.standard_uncertainty for reading in combination.readings.values()]
    assert each == pytest.approx([0.100] * 10)
    assert math.hypot(*each) == pytest.approx(0.32, abs=0.005)


def test_5_1_6_a_power_has_the_relative_uncertainties_of_its_factors_in_quadrature() -> None:
    instruments = (
        meter("output_voltage", standard_uncertainty=0.06),
        meter("output_current", standard_uncertainty=0.02),
    )
    setup = Setup(adapter=TEN_PORTS, accuracies=instruments)
    table = together(20.0, 5.0, labels=("P1", "P2"))
    assert KIND.check(table, setup) == ()
    values = {item.metric: item for item in KIND.measure(table, setup).values}
    # 0.06/20 = 0.3 % and 0.02/5 = 0.4 % make 0.5 %; two ports of one bench keep that share.
    for metric in ("sharing-total", "sharing-kept"):
        measured = values[metric]
        assert measured.standard_uncertainty / measured.value == pytest.approx(0.005)
