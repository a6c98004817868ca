"""Buckets, days of sand and the steady balance, against worked figures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.supply import (
    Range,
    bucket_dry_kg,
    days_of_sand,
    steady_balance,
)

LB_KG = 0.45359237  # exact, by definition of the pound
YD3_M3 = 0.9144**3
amounts = st.floats(0, 1e6)
ranges = st.tuples(amounts, amounts, amounts).map(lambda three: Range(*sorted(three)))


def test_a_four_yard_bucket_of_sand_weighs_from_10_260_to_12_960_lb() -> None:
    # US Army TM 9-2320-366-10-1, Table 2-15: 2 565 lb/yd³ dry and loose, 3 240 lb/yd³ wet
    mass = bucket_dry_kg(1, bucket_m3=4 * YD3_M3, fill_frac=1.0, moisture_wb_frac=0.0)
    assert mass.low_kg / LB_KG == pytest.approx(4 * 2565, rel=1e-3)
    assert mass.high_kg / LB_KG == pytest.approx(4 * 3240, rel=1e-3)


def test_water_is_taken_out_of_a_bucket() -> None:
    wet, dry = (
        bucket_dry_kg(13, bucket_m3=3.0, fill_frac=0.95, moisture_wb_frac=moisture)
        for moisture in (0.0, 0.12)
    )
    assert dry.dry_kg == pytest.approx(wet.dry_kg * 0.88)
    assert dry.low_kg < dry.dry_kg < dry.high_kg


@given(n=st.integers(1, 50), extra=st.integers(0, 50))
def test_more_buckets_are_in_proportion(n: int, extra: int) -> None:
    few, many = (
        bucket_dry_kg(count, bucket_m3=2.0, fill_frac=0.95, moisture_wb_frac=0.1)
        for count in (n, n + extra)
    )
    assert many.dry_kg == pytest.approx(few.dry_kg * (n + extra) / n)


def test_ten_days_of_a_hundred_tons() -> None:
    # 4 000 stalls at 50 lb use 100 short tons a day; 1 100 over 100 kept back are ten days
    ton_kg = 2000 * LB_KG
    use_kg_d = steady_balance(4000, 50 * LB_KG, 0.75).use_kg_d
    result = days_of_sand(1100 * ton_kg, 100 * ton_kg, Range(use_kg_d, use_kg_d, use_kg_d))
    assert result.days.likely == pytest.approx(10)
    assert not result.is_below_safety


def test_most_use_gives_fewest_days() -> None:
    days = days_of_sand(100, 20, Range(8, 10, 16)).days
    assert (days.low, days.likely, days.high) == (5, 8, 10)


def test_below_the_safety_stock_there_are_no_days_and_it_is_said() -> None:
    result = days_of_sand(10, 20, Range(8, 10, 16))
    assert result.days == Range(0, 0, 0)
    assert result.is_below_safety


def test_without_use_sand_lasts_for_ever_and_none_is_none() -> None:
    assert days_of_sand(100, 20, Range(0, 0, 0)).days.likely == math.inf
    assert days_of_sand(0, 0, Range(0, 0, 0)).days.likely == 0


@given(released_kg=amounts, safety_kg=amounts, use=ranges)
def test_days_are_in_order(released_kg: float, safety_kg: float, use: Range) -> None:
    days = days_of_sand(released_kg, safety_kg, use).days
    assert 0 <= days.low <= days.likely <= days.high


def test_steady_balance_of_4000_stalls() -> None:
    # 4 000 · 50 lb = 100 short tons a day; at 75 % recovery 25 a day, 9 125 a year, are bought
    balance = steady_balance(4000, 50 * LB_KG, 0.75)
    assert balance.make_up_kg_d * 365 / (2000 * LB_KG) == pytest.approx(9125)


@given(
    n_stalls=st.integers(0, 10_000),
    use=st.floats(0, 50),
    recovery=st.floats(0, 1),
    screened=st.floats(0, 1),
)
def test_what_is_used_is_recovered_or_bought(
    n_stalls: int, use: float, recovery: float, screened: float
) -> None:
    balance = steady_balance(n_stalls, use, recovery, screened_out_frac=screened)
    assert balance.use_kg_d == pytest.approx(balance.recovered_kg_d + balance.make_up_kg_d)
    assert balance.make_up_kg_d >= -1e-6


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="does not hold"):
        Range(2, 1, 3)
    with pytest.raises(ValueError, match="does not hold"):
        Range(float("nan"), 1, 3)
    with pytest.raises(ValueError, match="above 0"):
        bucket_dry_kg(0, bucket_m3=2.0, fill_frac=0.95, moisture_wb_frac=0.1)
    with pytest.raises(ValueError, match="moisture_wb_frac"):
        bucket_dry_kg(1, bucket_m3=2.0, fill_frac=0.95, moisture_wb_frac=10)
    with pytest.raises(ValueError, match="negative"):
        days_of_sand(1, -1, Range(1, 1, 1))
    with pytest.raises(ValueError, match="0 to 1"):
        steady_balance(10, 1.0, 75)
    with pytest.raises(ValueError, match="negative"):
        steady_balance(-1, 1.0, 0.5)
