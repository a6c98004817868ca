"""Members are past windows, whole, of the same season, and never from the future."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.weather.calc.days import days_from
from equipment.weather.calc.members import ClimateHistory, resample_years


def history_of(first: date, last: date) -> ClimateHistory:
    """Every day carries its own number, so that a member shows where it came from."""
    day = days_from(first, (last - first).days + 1)
    number = day.astype(np.int64).astype(float)
    return ClimateHistory(day, et0_mm=number, rain_mm=number * 2)


TEN_YEARS = history_of(date(2016, 1, 1), date(2025, 12, 31))


def test_one_member_a_year_each_from_its_own_year() -> None:
    members = resample_years(TEN_YEARS, date(2026, 6, 1), 30, np.random.default_rng(1))
    years = sorted(day.item().year for day in members.source_day)
    assert years == list(range(2016, 2026))
    assert members.et0_mm.shape == members.rain_mm.shape == (10, 30)


@settings(deadline=None, max_examples=40)
@given(
    start_on=st.dates(date(2018, 1, 1), date(2026, 12, 31)),
    horizon_d=st.integers(1, 120),
    seed=st.integers(0, 1000),
)
def test_a_member_is_an_unbroken_past_window_within_a_week_of_the_day(
    start_on: date, horizon_d: int, seed: int
) -> None:
    members = resample_years(TEN_YEARS, start_on, horizon_d, np.random.default_rng(seed))
    assert (np.diff(members.et0_mm, axis=1) == 1).all()
    assert (members.rain_mm == members.et0_mm * 2).all()
    last = members.source_day + (horizon_d - 1)
    assert (last < np.datetime64(start_on)).all()
    away_d = [
        min(abs((day.item() - start_on.replace(year=year, day=min(start_on.day, 28))).days)
            for year in range(2015, 2027))
        for day in members.source_day
    ]  # fmt: skip
    assert max(away_d) <= 7 + 3  # the test moves days 29 to 31 to 28


def test_more_members_than_years_are_dealt_evenly_and_never_twice() -> None:
    members = resample_years(
        TEN_YEARS, date(2026, 6, 1), 30, np.random.default_rng(1), n_members=25
    )
    years = [day.item().year for day in members.source_day]
    assert sorted({years.count(year) for year in years}) == [2, 3]
    assert len(set(members.source_day.tolist())) == 25


def test_same_seed_gives_same_members_and_another_seed_others() -> None:
    def sources(seed: int) -> list[date]:
        rng = np.random.default_rng(seed)
        days: list[date] = resample_years(TEN_YEARS, date(2026, 6, 1), 30, rng).source_day.tolist()
        return days

    assert sources(3) == sources(3)
    assert sources(3) != sources(4)


def test_a_year_with_a_hole_in_the_window_is_left_out() -> None:
    keep = ~(
        (TEN_YEARS.day >= np.datetime64("2020-06-10"))
        & (TEN_YEARS.day <= np.datetime64("2020-06-11"))
    )
    holed = ClimateHistory(TEN_YEARS.day[keep], TEN_YEARS.et0_mm[keep], TEN_YEARS.rain_mm[keep])
    members = resample_years(holed, date(2026, 6, 1), 30, np.random.default_rng(1))
    assert 2020 not in {day.item().year for day in members.source_day}
    assert members.n_members == 9


def test_an_unknown_value_counts_as_a_hole() -> None:
    et0_mm = TEN_YEARS.et0_mm.copy()
    et0_mm[TEN_YEARS.day == np.datetime64("2020-06-10")] = np.nan
    holed = ClimateHistory(TEN_YEARS.day, et0_mm, TEN_YEARS.rain_mm)
    members = resample_years(holed, date(2026, 6, 1), 30, np.random.default_rng(1))
    assert not np.isnan(members.et0_mm).any()


def test_leap_day_looks_to_the_end_of_february() -> None:
    members = resample_years(
        TEN_YEARS, date(2024, 2, 29), 10, np.random.default_rng(1), shift_max_d=0
    )
    assert {(day.item().month, day.item().day) for day in members.source_day} == {(2, 28)}


def test_too_little_history_is_refused() -> None:
    with pytest.raises(ValueError, match="no complete window"):
        resample_years(TEN_YEARS, date(2016, 1, 1), 30, np.random.default_rng(1))
    with pytest.raises(ValueError, match="members asked for"):
        resample_years(TEN_YEARS, date(2026, 6, 1), 30, np.random.default_rng(1), n_members=151)
    with pytest.raises(ValueError, match="horizon_d"):
        resample_years(TEN_YEARS, date(2026, 6, 1), 0, np.random.default_rng(1))


def test_a_history_that_cannot_be_is_refused() -> None:
    day = days_from(date(2020, 1, 1), 2)
    with pytest.raises(ValueError, match="negative"):
        ClimateHistory(day, np.array([1.0, -0.1]), np.zeros(2))
    with pytest.raises(ValueError, match="increase"):
        ClimateHistory(day[::-1], np.zeros(2), np.zeros(2))
    with pytest.raises(ValueError, match="shape"):
        ClimateHistory(day, np.zeros(3), np.zeros(2))
    with pytest.raises(ValueError, match="a day at least"):
        ClimateHistory(day[:0], np.zeros(0), np.zeros(0))
