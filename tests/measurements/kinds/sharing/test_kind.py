from __future__ import annotations

from itertools import chain

import pytest

from measurements.kinds.base import AdapterFacts, PortFacts, Setup
from measurements.kinds.sharing import KIND


def adapter(*labels: str) -> AdapterFacts:
    ports = tuple(PortFacts(label, "usb-c") for label in labels)
    return AdapterFacts(rated_power_w=100.0, ports=ports)


def test_the_columns_are_those_of_the_public_contract() -> None:
    assert [(column.name, column.type, column.required) for column in KIND.columns] == [
        ("combination", "text", True),
        ("port", "text", True),
        ("voltage_v", "number", True),
        ("current_a", "number", True),
        ("input_power_w", "number", False),
    ]


def test_the_metrics_are_those_of_the_public_contract() -> None:
    assert [
        (metric.key, metric.unit, metric.better, metric.condition, metric.ranked)
        for metric in KIND.metrics
    ] == [
        ("sharing-total", "W", "higher", (), True),
        ("sharing-kept", "%", "higher", (), True),
    ]


def test_the_mains_may_stay_unknown() -> None:
    assert not KIND.needs_mains


def test_the_cautions_name_heat_earth_and_mains() -> None:
    cautions = " ".join(KIND.cautions)
    for word in ("hot", "earth", "licensed", "local codes", "never a certification"):
        assert word in cautions


def test_the_plan_has_every_pair_in_both_orders_and_all_ports_together() -> None:
    (run,) = KIND.plan(Setup(adapter("C1", "C2", "A1")))
    assert run.columns[:2] == ("combination", "port")
    assert list(dict.fromkeys(row[0] for row in run.rows)) == [
        "C1+C2",
        "C2+C1",
        "C1+A1",
        "A1+C1",
        "C2+A1",
        "A1+C2",
        "C1+C2+A1",
    ]
    assert [row[1] for row in run.rows if row[0] == "C2+C1"] == ["C2", "C1"]
    assert set(chain.from_iterable(row[2:] for row in run.rows)) == {None}
    assert {len(row) for row in run.rows} == {len(run.columns)}


def test_two_ports_together_are_planned_once_in_each_order() -> None:
    (run,) = KIND.plan(Setup(adapter("C1", "C2")))
    assert [row[:2] for row in run.rows] == [
        ("C1+C2", "C1"),
        ("C1+C2", "C2"),
        ("C2+C1", "C2"),
        ("C2+C1", "C1"),
    ]


@pytest.mark.parametrize("labels", [(), ("C1",)])
def test_fewer_than_two_ports_have_no_plan(labels: tuple[str, ...]) -> None:
    assert KIND.plan(Setup(adapter(*labels))) == ()


def test_the_plan_names_declared_columns_only() -> None:
    (run,) = KIND.plan(Setup(adapter("C1", "C2")))
    assert set(run.columns) <= {column.name for column in KIND.columns}
