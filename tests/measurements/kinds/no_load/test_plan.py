"""The records that the standby method asks for."""

from __future__ import annotations

from measurements.kinds import get_kind
from measurements.kinds.base import AdapterFacts, Setup
from tests.measurements.kinds.no_load.records import ADAPTER

NO_LOAD = get_kind("no-load")


def test_it_asks_for_a_log_at_each_mains_voltage() -> None:
    runs = NO_LOAD.plan(Setup(ADAPTER))
    assert [run.fields for run in runs] == [
        {"mains_v": 230.0, "mains_hz": 50.0},
        {"mains_v": 115.0, "mains_hz": 60.0},
    ]
    assert [run.title for run in runs] == [
        "Standby for 15 minutes, 230 V mains",
        "Standby for 15 minutes, 115 V mains",
    ]
    for run in runs:
        assert run.log
        assert run.rows == ()
        assert set(run.columns) == {column.name for column in NO_LOAD.columns}
        assert "Nothing connected" in run.note


def test_it_is_the_same_for_every_adapter() -> None:
    assert NO_LOAD.plan(Setup(AdapterFacts(rated_power_w=5.0))) == NO_LOAD.plan(Setup(ADAPTER))
