"""The efficiency band of an adapter, and the verdicts beside its places."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from catalog.models import Adapter
from comparisons.queries.adapter_pages import adapter_page
from comparisons.queries.bands import Band, bands
from measurements.kinds.base import Condition
from measurements.models import Value, Verdict
from tests.comparisons.populations import HIGH_LINE, stand
from tests.comparisons.test_pages import text_of
from tests.factories.catalog import make_adapter

pytestmark = pytest.mark.django_db
SCHEMES = ("coc-v5-tier-2", "coc-v5-tier-1", "eu-2019-1782", "level-vi")


def judge(value: Value, outcomes: Mapping[str, str], *, limit: float = 0.1, **facts: Any) -> None:
    """Verdicts of schemes on a value, as its run would have them."""
    for scheme, outcome in outcomes.items():
        Verdict.objects.create(
            **{
                "run": value.run,
                "scheme": scheme,
                "clause": "a clause",
                "quantity": value.metric,
                "condition_key": value.condition_key,
                "limit": limit,
                "sense": "at most",
                "value": value.value,
                "expanded_uncertainty": 0.001,
                "margin": limit - value.value,
                "outcome": outcome,
                **facts,
            }
        )


def measured_adapter(*, standby: Mapping[str, str], efficiency: Mapping[str, str]) -> Adapter:
    adapter = make_adapter()
    judge(stand(adapter, 0.05, condition=HIGH_LINE), standby)
    for volts in (9.0, 20.0):
        value = stand(
            adapter,
            90.0,
            metric="average-efficiency",
            condition=Condition(line="high", output_v=volts),
        )
        judge(value, efficiency if volts == 20.0 else dict.fromkeys(SCHEMES, "pass"))
    return adapter


def band_of(adapter: Adapter) -> Band | None:
    return bands([adapter], viewer=None).get(adapter.pk)


def all_of(outcome: str) -> dict[str, str]:
    return dict.fromkeys(SCHEMES, outcome)


def test_the_band_is_the_highest_tier_passed_on_both_counts() -> None:
    found = band_of(measured_adapter(standby=all_of("pass"), efficiency=all_of("pass")))
    assert found == Band("coc-v5-tier-2", "Code of Conduct v5, Tier 2")


def test_a_tier_failed_on_one_count_is_not_the_band() -> None:
    one = measured_adapter(
        standby=all_of("pass"), efficiency=all_of("pass") | {"coc-v5-tier-2": "fail"}
    )
    assert band_of(one) == Band("coc-v5-tier-1", "Code of Conduct v5, Tier 1")


def test_an_undecided_tier_above_is_borderline() -> None:
    one = measured_adapter(
        standby=all_of("pass") | {"coc-v5-tier-2": "undecided", "coc-v5-tier-1": "fail"},
        efficiency=all_of("pass"),
    )
    assert band_of(one) == Band(
        "eu-2019-1782", "EU 2019/1782", borderline=("Code of Conduct v5, Tier 2",)
    )


def test_an_adapter_that_passes_none_says_so(client: Client) -> None:
    one = measured_adapter(standby=all_of("fail"), efficiency=all_of("pass"))
    assert band_of(one) == Band("", "passes no published tier")
    assert "It passes no published tier on both standby power and average efficiency." in text_of(
        client, one.get_absolute_url()
    )


def test_there_is_no_band_without_both_counts() -> None:
    adapter = make_adapter()
    judge(stand(adapter, 0.05), all_of("pass"))
    assert band_of(adapter) is None


def test_a_run_at_the_schemes_own_mains_voltage_decides_over_the_other() -> None:
    adapter = measured_adapter(standby=all_of("pass"), efficiency=all_of("pass"))
    low = Condition(line="low")
    judge(stand(adapter, 0.05, condition=low), all_of("fail"))
    found = band_of(adapter)
    assert found is not None
    assert found.scheme == "coc-v5-tier-2"
    without_europe = {"level-vi": "pass"}
    other = make_adapter("Solo 2")
    judge(stand(other, 0.05), without_europe)
    judge(stand(other, 0.05, condition=low), {"level-vi": "fail"})
    value = stand(
        other,
        90.0,
        metric="average-efficiency",
        condition=Condition(line="high", output_v=20.0),
    )
    judge(value, without_europe)
    assert band_of(other) == Band("", "passes no published tier")


def test_verdicts_on_values_that_do_not_stand_or_are_apart_do_not_count() -> None:
    adapter = measured_adapter(standby=all_of("pass"), efficiency=all_of("pass"))
    Value.objects.filter(metric="no-load-power").update(apart="The record was too short.")
    assert band_of(adapter) is None
    Value.objects.filter(metric="no-load-power").update(
        apart="", current_until=timezone.now() + timedelta(seconds=1)
    )
    assert band_of(adapter) is None


def test_bands_of_many_adapters_take_one_query(django_assert_num_queries: Any) -> None:
    adapters = [make_adapter(f"Solo {number}") for number in range(5)]
    for adapter in adapters:
        judge(stand(adapter, 0.05), all_of("pass"))
    with django_assert_num_queries(1):
        bands(adapters, viewer=None)


def test_the_limit_nearest_to_the_value_is_drawn() -> None:
    adapter = make_adapter()
    value = stand(adapter, 0.2)
    judge(value, {"level-vi": "undecided"}, limit=0.21)
    judge(value, {"coc-v5-tier-2": "fail"}, limit=0.15)
    page = adapter_page(adapter.slug, viewer=None)
    assert page is not None
    entry = page.headlines[0]
    assert [item.words for item in entry.judgements] == ["Level VI", "CoC v5 Tier 2"]
    assert entry.drawn_limit is not None
    assert entry.drawn_limit.limit == 0.21


def test_headroom_is_judged_by_the_sensor_that_fares_worst(client: Client) -> None:
    adapter = make_adapter()
    value = stand(adapter, 2.0, metric="thermal-headroom", condition=HIGH_LINE)
    for sensor, outcome, margin in (("top", "pass", 2.0), ("side", "undecided", 0.4)):
        judge(
            value,
            {"iec-62368-1": outcome},
            quantity="surface-temperature",
            condition_key=f"line=high;sensor={sensor}",
            margin=margin,
        )
    page = adapter_page(adapter.slug, viewer=None)
    assert page is not None
    (judgement,) = page.headlines[0].judgements
    assert (judgement.outcome, judgement.limit, judgement.margin) == ("undecided", 0.0, 0.4)
    assert "undecided: IEC 62368-1 touch" in text_of(client, adapter.get_absolute_url())
