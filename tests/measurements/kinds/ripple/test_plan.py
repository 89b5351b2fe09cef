"""The planned readings, and what the kind declares for the pages of an adapter."""

from __future__ import annotations

import pytest

from measurements.kinds.base import AdapterFacts, AdvertisedOutput, PlannedRun, PortFacts, Setup
from measurements.kinds.coverage import held_points
from measurements.kinds.ripple import KIND
from tests.measurements.kinds.ripple.records import measured, readings, setup, value

C1 = PortFacts("C1", "usb-c", 65.0)
A1 = PortFacts("A1", "usb-a")


def planned(*advertised: AdvertisedOutput, ports: tuple[PortFacts, ...] = (C1,)) -> PlannedRun:
    """The first run of the plan."""
    adapter = AdapterFacts(rated_power_w=65.0, ports=ports, advertised=advertised)
    return KIND.plan(Setup(adapter))[0]


def test_the_strongest_port_is_measured_at_either_mains_voltage() -> None:
    runs = KIND.plan(Setup(AdapterFacts(rated_power_w=65.0, ports=(A1, C1))))
    assert [
        (run.fields["port"], run.fields["mains_v"], run.fields["mains_hz"]) for run in runs
    ] == [
        ("C1", 230.0, 50.0),
        ("C1", 115.0, 60.0),
    ]
    assert runs[0].title == "Ripple on C1, 230 V mains"
    for run in runs:
        assert run.columns == ("output_nominal_v", "output_current_a", "ripple_mv_pp")
        assert run.fields["bandwidth_mhz"] == 20.0
        assert not run.log


def test_what_the_port_itself_advertises_goes_before_its_label() -> None:
    run = planned(
        AdvertisedOutput("C1", 12.0, 3.0),
        AdvertisedOutput("C1", 20.0, 3.25, source="profile"),
        AdvertisedOutput("C1", 5.0, 3.0, source="profile"),
        AdvertisedOutput("A1", 9.0, 2.0, source="profile"),
    )
    assert run.rows == (
        (5.0, 0.0, None),
        (5.0, 3.0, None),
        (20.0, 0.0, None),
        (20.0, 3.25, None),
    )


def test_the_label_serves_where_the_port_was_not_scanned() -> None:
    own = AdvertisedOutput("C1", 9.0, 3.0)
    of_any = AdvertisedOutput("", 15.0, 3.0)
    assert planned(own, of_any).rows == ((9.0, 0.0, None), (9.0, 3.0, None))
    assert planned(of_any).rows == ((15.0, 0.0, None), (15.0, 3.0, None))


def test_the_highest_current_of_a_voltage_counts_and_a_rounded_label_is_the_same_voltage() -> None:
    run = planned(
        AdvertisedOutput("C1", 3.3, 2.0),
        AdvertisedOutput("C1", 3.32, 3.0),
        AdvertisedOutput("C1", 5.0, 0.0),
    )
    assert run.rows == ((3.3, 0.0, None), (3.3, 3.0, None))


@pytest.mark.parametrize("ports", [(A1,), ()])
def test_a_port_of_which_nothing_is_known_gives_5_volts(ports: tuple[PortFacts, ...]) -> None:
    run = planned(ports=ports)
    assert run.rows == ((5.0, 0.0, None), (5.0, None, None))


def test_an_adapter_without_ports_is_planned_by_all_that_is_advertised() -> None:
    run = planned(AdvertisedOutput("", 9.0, 3.0), AdvertisedOutput("", 5.0, 3.0), ports=())
    assert "port" not in run.fields
    assert [row[0] for row in run.rows] == [5.0, 5.0, 9.0, 9.0]


def test_a_filled_plan_is_measured_without_anything_missing() -> None:
    adapter = setup().adapter
    run = KIND.plan(Setup(adapter))[0]
    rows = [(float(row[0] or 0), float(row[1] or 0), 25.0) for row in run.rows]
    outcome = measured(readings(*rows), setup())
    assert {"missing-load", "partial-load", "one-voltage"} & {
        f.code for f in outcome.flags
    } == set()
    assert value(outcome, "ripple-loaded", output_v=20.0).value == 25
    assert len(held_points(run, facts=outcome.details.facts)) == len(run.rows)


def test_a_reading_holds_the_planned_one_when_it_stands_for_the_same_load() -> None:
    asked = planned(AdvertisedOutput("", 5.0, 3.0), AdvertisedOutput("", 20.0, 3.25))
    run = setup(advertised=(AdvertisedOutput("", 5.0, 3.0), AdvertisedOutput("", 20.0, 3.25)))
    # 4 mA of an adapter of 3 A is no load, 2.8 A is 93 % of 3 A, 2 A is well below 3.25 A.
    rows = ((5, 0.004, 20), (5, 2.8, 30), (20, 2, 40))
    outcome = measured(readings(*rows), run)
    held = held_points(asked, facts=outcome.details.facts)
    assert [asked.rows[place][:2] for place in sorted(held)] == [(5.0, 0.0), (5.0, 3.0)]


def test_where_no_current_is_stated_the_largest_load_holds_the_open_row() -> None:
    asked = planned()
    unknown = setup(advertised=())
    unloaded = measured(readings((5, 0, 20)), unknown)
    both = measured(readings((5, 0, 20), (5, 1, 25), (5, 2, 30)), unknown)
    assert held_points(asked, facts=unloaded.details.facts) == {0}
    assert held_points(asked, facts=both.details.facts) == {0, 1}


def test_a_scan_goes_before_the_label_in_what_counts_as_full_load() -> None:
    label = AdvertisedOutput("", 20.0, 5.0)
    scanned = AdvertisedOutput("", 20.0, 3.0, source="profile")
    table = readings((20, 0, 20), (20, 3, 50))
    by_label = measured(table, setup(advertised=(label,)))
    by_scan = measured(table, setup(advertised=(label, scanned)))
    assert value(by_label, "ripple-loaded", output_v=20.0).apart != ""
    assert value(by_scan, "ripple-loaded", output_v=20.0).apart == ""
    assert KIND.follows == ("port-scan",)


def test_the_map_names_metrics_of_the_kind_with_values_at_each_voltage() -> None:
    (grid,) = KIND.maps
    assert set(grid.metrics) <= {metric.key for metric in KIND.metrics}
    outcome = measured(readings((5, 0, 30), (5, 3, 48), (20, 0, 21), (20, 5, 62)), setup())
    for metric in grid.metrics:
        assert value(outcome, metric, output_v=5.0)
        assert value(outcome, metric, output_v=20.0)
