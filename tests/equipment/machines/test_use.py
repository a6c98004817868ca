"""Recent daily use: hand-made weeks, checked by hand."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.meter import MeterSeries, Reading
from equipment.machines.calc.use import DailyUse, recent_use
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

START = parse_instant("2026-10-01T18:00-06:00")


def from_days(hours_h: list[float]) -> MeterSeries:
    """A reading every evening."""
    totals_h = [sum(hours_h[:n]) for n in range(len(hours_h) + 1)]
    return MeterSeries(
        tuple(Reading(START + timedelta(days=n), total) for n, total in enumerate(totals_h))
    )


def test_even_days_give_their_hours() -> None:
    assert recent_use(from_days([8.0] * 40)) == DailyUse(8.0, 8.0, 8.0, 28)


def test_only_the_last_four_weeks_count() -> None:
    assert recent_use(from_days([2.0] * 100 + [8.0] * 28)) == DailyUse(8.0, 8.0, 8.0, 28)


def test_an_idle_week_leaves_the_median_and_lowers_the_low() -> None:
    found = recent_use(from_days([8.0] * 14 + [0.0] * 7 + [8.0] * 7))
    assert found == DailyUse(0.0, 8.0, 8.0, 28)


def test_one_odd_reading_leaves_the_median() -> None:
    found = recent_use(from_days([8.0] * 20 + [23.0] + [8.0] * 7))
    assert found is not None
    assert found.likely_h_d == 8.0


def test_low_and_high_cut_off_a_tenth_of_the_days_each() -> None:
    # R. Hyndman, Y. Fan, "Sample Quantiles in Statistical Packages", The American Statistician 50
    # (1996), definition 7: of 1 to 11, the p quantile is 1 + 10 p
    found = recent_use(from_days([float(n) for n in range(1, 12)]))
    assert found is not None
    assert (found.low_h_d, found.likely_h_d, found.high_h_d) == pytest.approx((2, 6, 10))


def test_weekly_readings_give_the_weeks_mean_day() -> None:
    weekly = MeterSeries(tuple(Reading(START + timedelta(weeks=n), 35.0 * n) for n in range(5)))
    found = recent_use(weekly)
    assert found is not None
    assert (found.low_h_d, found.likely_h_d, found.high_h_d) == pytest.approx((5, 5, 5))


def test_less_than_a_day_of_readings_says_nothing() -> None:
    assert recent_use(MeterSeries(())) is None
    assert recent_use(from_days([])) is None
    two = (Reading(START, 10), Reading(START + timedelta(hours=23), 20))
    assert recent_use(MeterSeries(two)) is None


@given(st.lists(st.floats(0, 24), min_size=1, max_size=35))
def test_use_lies_between_the_least_and_the_most_of_the_days(hours_h: list[float]) -> None:
    found = recent_use(from_days(hours_h))
    assert found is not None
    assert min(hours_h[-28:]) - 1e-6 <= found.low_h_d <= found.likely_h_d
    assert found.likely_h_d <= found.high_h_d <= max(hours_h[-28:]) + 1e-6


@pytest.mark.parametrize("rates", [(-1.0, 2.0, 3.0), (3.0, 2.0, 4.0), (1.0, 5.0, 4.0)])
def test_uses_out_of_order_are_refused(rates: tuple[float, float, float]) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        DailyUse(*rates, n_days=7)
