"""Recent daily use: hand-made weeks, checked by hand, and simulated machines."""

from datetime import timedelta
from itertools import combinations
from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats.mstats import winsorize

from equipment.machines.calc.downtime import Span
from equipment.machines.calc.meter import MeterSeries, Reading
from equipment.machines.calc.service_due import (
    ServiceItem,
    ServicePoint,
    ServiceState,
    service_due,
)
from equipment.machines.calc.use import DailyUse, recent_use, winsorised_mean
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

START = parse_instant("2026-10-01T18:00-06:00")


def from_days(hours_h: list[float]) -> MeterSeries:
    """A reading every evening."""
    totals_h = [sum(hours_h[:n]) for n in range(len(hours_h) + 1)]
    return MeterSeries(
        tuple(Reading(START + timedelta(days=n), total) for n, total in enumerate(totals_h))
    )


def use_of(hours_h: list[float], *laid_up: Span) -> DailyUse:
    found = recent_use(from_days(hours_h), laid_up)
    assert found is not None
    return found


def test_even_days_give_their_hours() -> None:
    found = use_of([8.0] * 100)
    assert (found.rate_h_d, found.scatter_h, found.n_days, found.laid_up_d) == (8.0, 0.0, 28, 0)
    assert found.next_days_frac == (1.0,) * 7
    assert found.trend is not None
    assert not found.trend.is_seen


def test_a_tenth_at_each_end_counts_as_its_neighbour() -> None:
    # by hand: 0 counts as 4 and 99 as 8; (4 + 4 + 5 + 5 + 6 + 6 + 7 + 7 + 8 + 8) / 10 = 6
    values = np.array([99.0, 4, 5, 5, 6, 0, 6, 7, 7, 8])
    assert winsorised_mean(values) == pytest.approx(6.0)
    # scipy.stats.mstats.winsorize, the general library's own way
    assert winsorised_mean(values) == pytest.approx(winsorize(values, limits=0.1).mean())


def test_the_trend_is_the_median_of_all_pairs() -> None:
    # P. K. Sen (1968): the estimate is the median of the slopes of all pairs of points
    weeks = [4.0, 6.5, 5.0, 7.25, 7.0, 9.0, 6.0]
    slopes = [(weeks[b] - weeks[a]) / (b - a) for a, b in combinations(range(len(weeks)), 2)]
    trend = use_of(np.repeat(weeks, 7).tolist()).trend
    assert trend is not None
    assert trend.likely_h_d_w == pytest.approx(median(slopes))


def test_only_the_last_four_weeks_make_the_rate() -> None:
    assert use_of([2.0] * 100 + [8.0] * 28).rate_h_d == 8.0


def test_a_week_without_an_hour_is_a_machine_laid_up_and_not_a_zero_of_use() -> None:
    found = use_of([8.0] * 30 + [0.0] * 7 + [8.0] * 7)
    assert (found.rate_h_d, found.scatter_h, found.n_days, found.laid_up_d) == (8.0, 0.0, 28, 7)


def test_six_days_without_an_hour_are_days_of_use() -> None:
    assert use_of([8.0] * 30 + [0.0] * 6).laid_up_d == 0


def test_days_on_hold_are_left_out() -> None:
    held = Span(START + timedelta(days=30), START + timedelta(days=33))
    found = use_of([8.0] * 30 + [0.0] * 3 + [8.0] * 5, held)
    assert (found.rate_h_d, found.laid_up_d) == (8.0, 3)
    lasting = Span(START + timedelta(days=30), None)
    assert use_of([8.0] * 30 + [0.0] * 3, lasting).laid_up_d == 3


def test_a_machine_that_never_ran_has_no_rate() -> None:
    found = use_of([0.0] * 40)
    assert (found.rate_h_d, found.n_days, found.laid_up_d) == (0.0, 0, 40)


def test_one_odd_reading_leaves_the_rate() -> None:
    assert use_of([8.0] * 14 + [23.0] + [8.0] * 13).rate_h_d == pytest.approx(8.0)


def test_a_machine_used_every_other_day_has_the_mean_and_not_the_median() -> None:
    assert use_of([0.0, 6.0] * 20).rate_h_d == pytest.approx(3.0, abs=0.05)


def test_five_days_at_work_and_two_at_rest_are_seen_as_a_pattern() -> None:
    found = use_of([10.0, 10.0, 10.0, 10.0, 10.0, 0.0, 0.0] * 12)
    # the day after the last reading begins the week again; by hand: 10 / (50 / 7) = 1.4
    assert found.next_days_frac == pytest.approx((1.4, 1.4, 1.4, 1.4, 1.4, 0.0, 0.0))
    assert found.rate_h_d == pytest.approx(50 / 7, rel=0.03)
    shifted = use_of([10.0, 10.0, 10.0, 10.0, 10.0, 0.0, 0.0] * 12 + [10.0, 10.0])
    assert shifted.next_days_frac == pytest.approx((1.4, 1.4, 1.4, 0.0, 0.0, 1.4, 1.4))


def test_scatter_without_a_pattern_is_not_called_one() -> None:
    rng = np.random.default_rng(3)
    assert use_of(rng.triangular(2, 8, 14, 84).tolist()).next_days_frac == (1.0,) * 7


def test_scatter_is_the_standard_deviation_of_a_day() -> None:
    # the generator's own: normal, sd 1.5 h
    rng = np.random.default_rng(5)
    found = use_of(np.clip(rng.normal(8, 1.5, 84), 0, 24).tolist())
    assert found.scatter_h == pytest.approx(1.5, rel=0.35)


def test_weekly_readings_do_not_hide_the_scatter() -> None:
    rng = np.random.default_rng(7)
    weeks = np.cumsum(rng.normal(8, 1.5, (13, 7)).sum(axis=1))
    series = MeterSeries(
        tuple(Reading(START + timedelta(weeks=n), h) for n, h in enumerate(weeks.tolist()))
    )
    found = recent_use(series)
    assert found is not None
    assert 0.7 < found.scatter_h < 3.0


def test_a_rising_use_is_seen_with_its_range() -> None:
    rng = np.random.default_rng(11)
    hours = 4 + np.repeat(np.arange(12), 7) * 0.3 + rng.normal(0, 0.5, 84)
    trend = use_of(hours.tolist()).trend
    assert trend is not None
    assert trend.is_seen
    assert trend.low_h_d_w <= 0.3 <= trend.high_h_d_w


def test_the_range_holds_eight_in_ten_of_simulated_machines() -> None:
    # truth from another model than the one that is fitted: gamma days, one in four idle
    rng = np.random.default_rng(13)
    held = 0
    n_machines = 300
    for _ in range(n_machines):
        hours = rng.gamma(9, 1.0, 400) * (rng.random(400) > 0.25)
        hours = np.minimum(hours, 24)
        series = from_days(hours[:84].tolist())
        now = ServicePoint(START.date(), series.totals_h[-1])
        state = ServiceState(ServiceItem("oil", every_h=250), now)
        due = service_due(state, now, recent_use(series))
        came_d = int(np.searchsorted(np.cumsum(hours[84:]), 250))
        assert due.earliest_on is not None
        assert due.latest_on is not None
        held += (due.earliest_on - now.on).days <= came_d <= (due.latest_on - now.on).days
    assert 0.73 <= held / n_machines <= 0.90


def test_less_than_a_day_of_readings_says_nothing() -> None:
    assert recent_use(MeterSeries(())) is None
    assert recent_use(from_days([])) is None
    two = (Reading(START, 10), Reading(START + timedelta(hours=23), 20))
    assert recent_use(MeterSeries(two)) is None


@given(st.lists(st.floats(0, 24), min_size=1, max_size=35))
def test_use_lies_between_the_least_and_the_most_of_the_days(hours_h: list[float]) -> None:
    found = use_of(hours_h)
    if found.n_days:
        assert min(hours_h) - 1e-6 <= found.rate_h_d <= max(hours_h) + 1e-6
    assert found.n_days + found.laid_up_d <= len(hours_h)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("rate_h_d", (-1.0, 2.0)),
        ("rate_h_d", (25.0, 2.0)),
        ("rate_h_d", (float("nan"), 2.0)),
        ("scatter_h", (8.0, -1.0)),
    ],
)
def test_uses_of_no_machine_are_refused(name: str, values: tuple[float, float]) -> None:
    with pytest.raises(RefusedValueError, match=f"{name}: out_of_range"):
        DailyUse(*values, n_days=7)
    with pytest.raises(RefusedValueError, match="next_days_frac"):
        DailyUse(8.0, 1.0, 7, next_days_frac=(1.0,) * 6)
