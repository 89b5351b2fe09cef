"""Stages of a charge, and the sentence that tells them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measurements.kinds.charge.records import HOUR, log, measured

RISING = np.linspace(0, 100, HOUR.size)
GAPPED = np.concatenate((np.arange(0.0, 1201.0), np.arange(1800.0, 3601.0)))


class TestStages:
    power = np.select([HOUR < 900, HOUR < 2100], [3.0, 1.5], 0.75)

    def test_stages_are_kept_and_told(self) -> None:
        outcome = measured(log(current_a=self.power, battery_percent=RISING))
        assert outcome.details.facts["stages"] == [
            {"start_s": 0.0, "end_s": 900.0, "mean_w": pytest.approx(60)},
            {"start_s": 900.0, "end_s": 2100.0, "mean_w": pytest.approx(30)},
            {"start_s": 2100.0, "end_s": 3599.0, "mean_w": pytest.approx(15)},
        ]
        (listing,) = [item for item in outcome.details.listings if item.key == "stages"]
        assert listing.note == "15 min at 60 W, then 20 min at 30 W, then 25 min at 15 W."
        assert listing.rows[0] == ("0.0", "15.0", "steady", "60.00", "0.00")
        values = {item.metric: item.value for item in outcome.values}
        assert values["charge-stages"] == 3

    def test_a_taper_is_a_ramp_and_no_stage(self) -> None:
        current = np.where(HOUR < 1200, 3.0, 3 * np.exp(-(HOUR - 1200) / 600))
        facts = measured(log(current_a=current, battery_percent=RISING)).details.facts
        (stage,) = facts["stages"]
        assert stage["mean_w"] == pytest.approx(60, rel=0.02)
        assert [ramp["start_s"] for ramp in facts["ramps"]] == [stage["end_s"]]
        assert facts["ramps"][0]["to_w"] < 5

    @pytest.mark.parametrize("idle_w", [0.3, 0.6, 0.8])
    @pytest.mark.parametrize("with_level", [True, False])
    def test_what_a_full_device_draws_is_no_stage(self, idle_w: float, with_level: bool) -> None:
        # 20 min at 60 W and 20 min at 30 W fill it; for 20 min more only its display draws.
        power = np.select([HOUR < 1200, HOUR < 2400], [60.0, 30.0], idle_w)
        level = np.minimum(100, np.interp(HOUR, [0, 1200, 2400], [0, 200 / 3, 100]))
        columns = {"battery_percent": level} if with_level else {}
        outcome = measured(log(current_a=power / 20, **columns))
        assert outcome.details.facts["stages"] == [
            {"start_s": 0, "end_s": 1200, "mean_w": pytest.approx(60)},
            {"start_s": 1200, "end_s": 2399, "mean_w": pytest.approx(30)},
        ]
        assert outcome.details.facts["ramps"] == []
        values = {item.metric: item.value for item in outcome.values}
        assert values["charge-stages"] == 2

    def test_a_level_that_never_shows_full_ends_its_stages_with_the_current(self) -> None:
        power = np.where(HOUR < 2400, 60.0, 0.8)
        level = np.minimum(99, HOUR / 24)
        facts = measured(log(current_a=power / 20, battery_percent=level)).details.facts
        assert [stage["end_s"] for stage in facts["stages"]] == [2399]

    def test_a_device_that_was_full_from_the_start_has_none(self) -> None:
        outcome = measured(log(battery_percent=np.full(HOUR.size, 100.0)))
        values = {item.metric: item.value for item in outcome.values}
        assert values["charge-stages"] == 0
        assert outcome.details.facts["ramps"] == []

    def test_a_ramp_of_some_seconds_is_not_of_the_stage_that_it_leads_to(self) -> None:
        # 15 s up to 93 W, 15 min there, 12 s without power, 30 min at 45 W.
        away = (HOUR >= 915) & (HOUR < 927)
        power = np.where(HOUR < 915, 93 * np.clip(HOUR / 15, 0, 1), 45.0)
        voltage = np.select([away, HOUR < 915], [0.02, 20.0], 15.0)
        facts = measured(
            log(
                voltage_v=voltage,
                current_a=np.where(away, 0.0, power / voltage),
                battery_percent=RISING,
            )
        ).details.facts
        assert facts["stages"] == [
            {"start_s": 14, "end_s": 926, "mean_w": pytest.approx(93)},
            {"start_s": 926, "end_s": 3598, "mean_w": pytest.approx(45)},
        ]
        assert facts["ramps"] == []

    def test_many_stages_are_counted_rather_than_told(self) -> None:
        current = np.where(HOUR % 400 < 200, 3.0, 1.5)
        outcome = measured(log(current_a=current, battery_percent=RISING))
        assert "then 10 more stages and pauses." in outcome.details.listings[0].note

    def test_the_sentence_does_not_bridge_a_gap(self) -> None:
        outcome = measured(log(time_s=GAPPED, battery_percent=GAPPED / 36))
        (stages,) = [item for item in outcome.details.listings if item.key == "stages"]
        assert stages.note == "20 min at 30 W, then a gap of 10 min, then 30 min at 30 W."

    def test_a_drop_out_between_stages_is_told_with_them(self) -> None:
        current = np.where((HOUR >= 1000) & (HOUR < 1100), 0.0, 1.5)
        outcome = measured(log(current_a=current, battery_percent=RISING))
        assert "then no power for 100 s, then" in outcome.details.listings[0].note

    def test_a_gap_after_the_last_stage_parts_nothing(self) -> None:
        time = np.concatenate((np.arange(0.0, 1201.0), [1800.0]))
        outcome = measured(log(time_s=time, battery_percent=time / 36))
        assert outcome.details.listings[0].note == "20 min at 30 W."
