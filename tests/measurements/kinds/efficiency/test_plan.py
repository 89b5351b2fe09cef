"""The operating points that the method asks for."""

from __future__ import annotations

import numpy as np
import pytest

from measurements.intake.columns import Table
from measurements.kinds.base import (
    AdapterFacts,
    AdvertisedOutput,
    Outcome,
    PlannedRun,
    PortFacts,
    Setup,
    SupplyClass,
)
from measurements.kinds.coverage import held_points
from measurements.kinds.efficiency import KIND
from tests.measurements.kinds.efficiency.tables import measured, points, together

LABEL = (
    AdvertisedOutput("", 5.0, 3.0),
    AdvertisedOutput("", 9.0, 3.0),
    AdvertisedOutput("", 20.0, 5.0),
)
STRONG = PortFacts("C1", "usb-c", 100.0)
WEAK = PortFacts("C2", "usb-c", 30.0)


def facts(
    *ports: PortFacts,
    advertised: tuple[AdvertisedOutput, ...] = LABEL,
    supply: SupplyClass = "adaptive",
) -> AdapterFacts:
    return AdapterFacts(
        rated_power_w=100.0, supply=supply, ports=ports or (WEAK, STRONG), advertised=advertised
    )


def first(adapter: AdapterFacts) -> PlannedRun:
    return KIND.plan(Setup(adapter))[0]


def column(run: PlannedRun, name: str, *, volts: float) -> list[object]:
    place = run.columns.index(name)
    return [row[place] for row in run.rows if row[0] == volts]


def test_it_asks_for_both_mains_on_the_strongest_port() -> None:
    runs = KIND.plan(Setup(facts()))
    assert [run.fields for run in runs] == [
        {"mains_v": 230.0, "mains_hz": 50.0, "port": "C1"},
        {"mains_v": 115.0, "mains_hz": 60.0, "port": "C1"},
    ]
    assert runs[0].title == "Efficiency on C1 at every output voltage, 230 V mains"
    assert runs[0].rows == runs[1].rows
    assert not any(run.log for run in runs)


def test_the_highest_voltage_comes_first_and_at_each_the_heaviest_load() -> None:
    # 10 CFR 430 Subpart B Appendix Z: 100, 75, 50, 25 %, further points afterwards.
    run = first(facts())
    assert list(dict.fromkeys(row[0] for row in run.rows)) == [20.0, 9.0, 5.0]
    assert column(run, "load_percent", volts=20.0) == [100.0, 75.0, 50.0, 25.0, 10.0]
    assert column(run, "output_current_a", volts=20.0) == [5.0, 3.75, 2.5, 1.25, 0.5]


def test_at_5_v_the_steps_of_a_usb_port_are_merged_with_the_shares() -> None:
    run = first(facts())
    currents = [3.0, 2.25, 2.0, 1.5, 1.0, 0.75, 0.5, 0.3]
    assert column(run, "output_current_a", volts=5.0) == currents
    assert column(run, "load_percent", volts=5.0) == [100, 75, 66.7, 50, 33.3, 25, 16.7, 10]


@pytest.mark.parametrize(
    "adapter",
    [
        facts(supply="single"),
        facts(PortFacts("A1", "usb-a", 100.0)),
        facts(advertised=(AdvertisedOutput("", 5.0, 2.0), AdvertisedOutput("", 20.0, 5.0))),
    ],
    ids=["single", "usb-a", "2 A"],
)
def test_without_steps_5_v_has_the_five_shares(adapter: AdapterFacts) -> None:
    shares = column(first(adapter), "load_percent", volts=5.0)
    assert shares == [100.0, 75.0, 50.0, 25.0, 10.0]


def test_what_the_port_advertises_goes_before_the_label() -> None:
    scanned = tuple(
        AdvertisedOutput("C1", volts, amps, source="profile")
        for volts, amps in ((5.0, 3.0), (15.0, 3.0))
    )
    adapter = facts(advertised=(AdvertisedOutput("", 20.0, 5.0), *scanned))
    assert {row[0] for row in first(adapter).rows} == {5.0, 15.0}


def test_the_strongest_port_is_known_from_what_it_advertises_when_no_rating_is() -> None:
    ports = (PortFacts("C1", "usb-c"), PortFacts("C2", "usb-c"))
    advertised = (AdvertisedOutput("C1", 9.0, 3.0), AdvertisedOutput("C2", 20.0, 3.0))
    run = first(facts(*ports, advertised=advertised))
    assert run.fields["port"] == "C2"
    assert {row[0] for row in run.rows} == {20.0}


def test_without_anything_advertised_5_v_is_planned_and_the_note_says_what_is_missing() -> None:
    run = first(AdapterFacts(rated_power_w=65.0))
    assert "port" not in run.fields
    assert column(run, "load_percent", volts=5.0) == [100.0, 75.0, 50.0, 25.0, 10.0]
    assert column(run, "output_current_a", volts=5.0) == [None] * 5
    assert "No output is advertised" in run.note
    assert "No output is advertised" not in first(facts()).note


def test_the_planned_points_filled_in_are_a_run_without_a_gap() -> None:
    adapter = facts()
    run = first(adapter)
    assert set(run.columns) == {item.name for item in KIND.columns}
    filled = np.array([[float(cell or 0) for cell in row] for row in run.rows])
    columns = {name: filled[:, place] for place, name in enumerate(run.columns)}
    columns["output_voltage_v"] = columns["output_nominal_v"]
    columns["input_power_w"] = columns["output_voltage_v"] * columns["output_current_a"] + 1.0
    table = Table(columns=columns, rows=np.arange(2, len(filled) + 2))
    given = Setup(adapter=adapter, line="high", mains_v=230.0, mains_hz=50.0, port=STRONG)
    assert KIND.check(table, given) == ()
    outcome = KIND.measure(table, given)
    assert {flag.code for flag in outcome.flags} == {"no-instrument"}
    for metric, volts in (("average-efficiency", 3), ("adaptive-efficiency", 2)):
        assert len([item for item in outcome.values if item.metric == metric]) == volts
    assert len(held_points(run, facts=outcome.details.facts)) == len(run.rows)


def held(adapter: AdapterFacts, *tables: Table) -> list[tuple[object, ...]]:
    """Voltage and load of the planned points that a run of the strongest port holds."""
    run = first(adapter)
    given = Setup(adapter=adapter, line="high", mains_v=230.0, mains_hz=50.0, port=STRONG)
    facts = measured(together(*tables), given).details.facts
    return [run.rows[place][:2] for place in sorted(held_points(run, facts=facts))]


def test_a_run_holds_the_loads_that_it_measured_within_two_points() -> None:
    # 4.9 A is 98 % of 5 A, 2.65 A is 53 %; 75 % is interpolated, which is not measured.
    assert held(facts(), points([4.9, 2.65, 1.25])) == [(20.0, 100.0), (20.0, 25.0)]


def test_a_step_in_ampere_is_held_within_the_width_of_the_method() -> None:
    # ±2 points of 2 A are 0.04 A.
    loads = {load for _, load in held(facts(), points([2.03, 1.05, 0.45], nominal=5.0))}
    assert loads == {66.7}


def test_voltages_that_were_not_measured_are_not_held() -> None:
    nine = points([3.0, 2.25, 1.5, 0.75, 0.3], nominal=9.0)
    assert {volts for volts, _ in held(facts(), nine)} == {9.0}


def test_values_of_a_weaker_port_are_set_apart_and_its_verdicts_stand() -> None:
    def outcome_on(port: PortFacts) -> Outcome:
        given = Setup(adapter=facts(), line="high", mains_v=230.0, mains_hz=50.0, port=port)
        return measured(points([1.25, 2.5, 3.75, 5.0]), given)

    weak, strong = outcome_on(WEAK), outcome_on(STRONG)
    sentence = "Measured on C2; adapters are compared by their strongest port, C1."
    assert {item.apart for item in weak.values} == {sentence}
    assert {item.apart for item in strong.values} == {""}
    assert [item.value for item in weak.values] == [item.value for item in strong.values]
    assert len(weak.verdicts) == len(strong.verdicts) > 0
    assert "weaker-port" in {flag.code for flag in weak.flags}
    assert "weaker-port" not in {flag.code for flag in strong.flags}
