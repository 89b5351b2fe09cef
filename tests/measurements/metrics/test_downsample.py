from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from measurements.metrics import FloatArray
from measurements.metrics.downsample import downsample

NAN = float("nan")
samples = st.one_of(st.floats(-1e6, 1e6), st.just(NAN))
records = st.lists(st.tuples(samples, samples), max_size=300)


def record(rows: list[tuple[float, float]]) -> dict[str, FloatArray]:
    return {
        "time": np.arange(len(rows), dtype=np.float64),
        "power": np.array([row[0] for row in rows], dtype=np.float64),
        "voltage": np.array([row[1] for row in rows], dtype=np.float64),
    }


@given(records, st.integers(2, 80))
def test_the_result_is_some_of_the_records_own_rows_in_order(
    rows: list[tuple[float, float]], points: int
) -> None:
    columns = record(rows)
    thinned = downsample(columns, points=points, x="time")
    kept = thinned["time"].astype(int)
    assert len(kept) <= points
    assert (np.diff(kept) > 0).all()
    for name, values in columns.items():
        np.testing.assert_array_equal(thinned[name], values[kept])
    if rows:
        assert kept[0] == 0
        assert kept[-1] == len(rows) - 1


@given(records, st.integers(6, 80))
@example([(0, NAN), (0, 0), (0, NAN), (-1, NAN), (NAN, NAN), (0, NAN), (0, NAN)], 6)
def test_the_extremes_of_every_drawn_column_stay(
    rows: list[tuple[float, float]], points: int
) -> None:
    columns = record(rows)
    thinned = downsample(columns, points=points, x="time")
    for name in ("power", "voltage"):
        finite = columns[name][~np.isnan(columns[name])]
        if finite.size:
            assert np.nanmin(thinned[name]) == finite.min()
            assert np.nanmax(thinned[name]) == finite.max()


def test_a_short_record_stays_as_it_is() -> None:
    columns = record([(1.0, 2.0), (3.0, 4.0)])
    thinned = downsample(columns, points=2)
    assert thinned["power"].tolist() == [1.0, 3.0]


def test_a_single_spike_in_a_long_record_stays() -> None:
    power = np.zeros(100_000)
    power[77_777] = 5.0
    thinned = downsample({"time": np.arange(100_000.0), "power": power}, points=500, x="time")
    assert thinned["time"][thinned["power"] == 5.0].tolist() == [77_777.0]


def test_a_row_without_values_goes_on_breaking_the_lines() -> None:
    power = np.sin(np.arange(100_000.0))
    power[[12_345, 12_346, 60_000]] = np.nan
    columns = {"time": np.arange(100_000.0), "power": power, "level": power}
    thinned = downsample(columns, points=100, x="time")
    assert thinned["time"][np.isnan(thinned["power"])].tolist() == [12_345, 60_000]
    assert len(thinned["time"]) <= 100


def test_a_record_full_of_breaks_still_keeps_its_budget() -> None:
    power = np.where(np.arange(10_000) % 2, 1.0, np.nan)
    thinned = downsample({"time": np.arange(10_000.0), "power": power}, points=50, x="time")
    assert len(thinned["time"]) <= 50


def test_a_record_of_nothing_but_x_is_spread_evenly() -> None:
    thinned = downsample({"time": np.arange(101.0)}, points=5, x="time")
    assert thinned["time"].tolist() == [0.0, 25.0, 50.0, 75.0, 100.0]


def test_no_column_gives_no_column() -> None:
    assert downsample({}, points=10) == {}


def test_columns_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="equally long"):
        downsample({"time": np.arange(3.0), "power": np.arange(4.0)}, points=2)


def test_fewer_than_two_rows_are_refused() -> None:
    with pytest.raises(ValueError, match="fewer than two"):
        downsample({"time": np.arange(3.0)}, points=1)
