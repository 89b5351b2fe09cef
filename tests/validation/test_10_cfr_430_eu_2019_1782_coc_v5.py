"""Limits on external power supplies, worked out for ratings from 5 W to 240 W.

Sources of the coefficients: 10 CFR 430.32(w) (Level VI), Commission Regulation (EU) 2019/1782
Annex II, and the EU Code of Conduct version 5. The worked values were computed apart from this
project from the published coefficients, to four decimals; the Code of Conduct's Tier 2 low-voltage
column and its -0.00115 are from memory, like the data they check.
"""

from __future__ import annotations

import pytest

from measurements.metrics.limits import Limit, limits_for

ROUNDED = 0.005 + 1e-9  # half of the last of four printed decimals of a fraction, in percent

# rating W: basic, low, multiple | CoC 1 standard average, 10 % | CoC 2 standard average, 10 % with
# -0.00115, 10 % with -0.0014 | CoC 1 low average, 10 % | CoC 2 low average, 10 %
ABOVE_49_W = (
    (0.8800, 0.8700, 0.8600),
    (0.8900, 0.7900),
    (0.8900, 0.7900, 0.7900),
    (0.8800, 0.7800),
    (0.8800, 0.7800),
)
WORKED = {
    5: (
        (0.7773, 0.7362, 0.6817),
        (0.7468, 0.6468),
        (0.7785, 0.6785, 0.6773),
        (0.7075, 0.6159),
        (0.7377, 0.6459),
    ),
    12: (
        (0.8296, 0.7994, 0.7474),
        (0.8016, 0.7016),
        (0.8326, 0.7326, 0.7296),
        (0.7736, 0.6789),
        (0.8030, 0.7100),
    ),
    20: (
        (0.8547, 0.8308, 0.7857),
        (0.8335, 0.7335),
        (0.8597, 0.7597, 0.7547),
        (0.8122, 0.7157),
        (0.8368, 0.7424),
    ),
    30: (
        (0.8695, 0.8507, 0.8161),
        (0.8589, 0.7589),
        (0.8770, 0.7770, 0.7695),
        (0.8428, 0.7449),
        (0.8597, 0.7636),
    ),
    45: (
        (0.8773, 0.8635, 0.8465),
        (0.8843, 0.7843),
        (0.8885, 0.7885, 0.7773),
        (0.8734, 0.7741),
        (0.8770, 0.7783),
    ),
    65: ABOVE_49_W,
    100: ABOVE_49_W,
    140: ABOVE_49_W,
    240: ABOVE_49_W,
}

RATINGS = pytest.mark.parametrize("rating", WORKED)


def limits(
    rating: float, *, row: str = "basic", supply: str = "single"
) -> dict[tuple[str, str], Limit]:
    found = limits_for(
        rating,
        output_v=5.0 if row == "low" else 20.0,
        output_a=3.0,
        supply="multiple" if row == "multiple" else supply,
    )
    return {(limit.scheme, limit.quantity): limit for limit in found}


def test_every_worked_rating_is_on_both_sides_of_49_w() -> None:
    assert min(WORKED) < 49 < max(WORKED)


@RATINGS
@pytest.mark.parametrize("scheme", ["level-vi", "eu-2019-1782"])
@pytest.mark.parametrize(("position", "row"), [(0, "basic"), (1, "low"), (2, "multiple")])
def test_level_vi_and_eu_average_efficiency(
    rating: int, scheme: str, position: int, row: str
) -> None:
    limit = limits(rating, row=row)[scheme, "average-efficiency"]
    assert limit.value == pytest.approx(100 * WORKED[rating][0][position], abs=ROUNDED)
    assert (limit.row, limit.sense, limit.unit) == (row, "at least", "%")


@RATINGS
@pytest.mark.parametrize(
    ("scheme", "row", "column"),
    [
        ("coc-v5-tier-1", "basic", 1),
        ("coc-v5-tier-2", "basic", 2),
        ("coc-v5-tier-1", "low", 3),
        ("coc-v5-tier-2", "low", 4),
    ],
)
def test_code_of_conduct_efficiencies(rating: int, scheme: str, row: str, column: int) -> None:
    average, at_10 = WORKED[rating][column][:2]
    found = limits(rating, row=row)
    assert found[scheme, "average-efficiency"].value == pytest.approx(100 * average, abs=ROUNDED)
    assert found[scheme, "efficiency-at-10"].value == pytest.approx(100 * at_10, abs=ROUNDED)


@pytest.mark.parametrize("rating", [5, 12, 20, 30, 45])
def test_the_disputed_tier_2_curve_names_the_printed_alternative(rating: int) -> None:
    limit = limits(rating)["coc-v5-tier-2", "efficiency-at-10"]
    printed = 100 * WORKED[rating][2][2]
    stated = float(limit.note.split("another reading gives ")[1].split(" %")[0])
    assert stated == pytest.approx(printed, abs=0.011)
    assert limit.standing == "from memory"


@RATINGS
def test_no_load_limits_of_every_scheme(rating: int) -> None:
    small = rating <= 49
    for row in ("basic", "low"):
        found = limits(rating, row=row)
        assert found["level-vi", "no-load-power"].value == (0.10 if small else 0.21)
        assert found["eu-2019-1782", "no-load-power"].value == (0.10 if small else 0.21)
        assert found["coc-v5-tier-1", "no-load-power"].value == (0.150 if small else 0.250)
        assert found["coc-v5-tier-2", "no-load-power"].value == (0.075 if small else 0.150)
    several = limits(rating, row="multiple")
    assert several["level-vi", "no-load-power"].value == 0.30
    assert several["eu-2019-1782", "no-load-power"].value == 0.30


@pytest.mark.parametrize(
    ("rating", "basic", "low", "multiple"),
    [
        (1, 0.6600, 0.6040, 0.5640),
        (49, 0.8777, 0.8650, 0.8529),
        (49.0001, 0.8800, 0.8700, 0.8600),
    ],
)
@pytest.mark.parametrize("scheme", ["level-vi", "eu-2019-1782"])
def test_the_ends_of_the_power_ranges_belong_to_the_lower_range(
    rating: float, basic: float, low: float, multiple: float, scheme: str
) -> None:
    for row, wanted in (("basic", basic), ("low", low), ("multiple", multiple)):
        limit = limits(rating, row=row)[scheme, "average-efficiency"]
        assert limit.value == pytest.approx(100 * wanted, abs=ROUNDED)


def test_no_load_steps_just_above_49_w() -> None:
    assert limits(49)["level-vi", "no-load-power"].value == 0.10
    assert limits(49.0001)["level-vi", "no-load-power"].value == 0.21


def test_ten_watt_low_voltage_and_eighteen_watt_basic() -> None:
    low = limits(10, row="low")["level-vi", "average-efficiency"]
    assert low.value == pytest.approx(78.70, abs=ROUNDED)
    basic = limits(18)["level-vi", "average-efficiency"]
    assert basic.value == pytest.approx(85.00, abs=ROUNDED)


def test_tier_1_is_stricter_than_level_vi_at_45_w_and_weaker_at_5_w() -> None:
    at_45, at_5 = limits(45), limits(5)
    key = "average-efficiency"
    assert at_45["coc-v5-tier-1", key].value > at_45["level-vi", key].value
    assert at_5["coc-v5-tier-1", key].value < at_5["level-vi", key].value
