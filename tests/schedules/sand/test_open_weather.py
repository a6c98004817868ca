"""A batch each week through a year of two open weather files; `-s` prints the tables."""

from collections import Counter

import numpy as np
import pytest

from equipment.weather.calc.et0 import ET0Method
from schedules.sand.calc.drying import DryTarget, Turning, first_dry_day, simulate_drying
from tests.schedules.sand.open_weather import (
    LAYER,
    START_WB_FRAC,
    TARGET,
    Series,
    champion,
    lag_table,
    monthly,
    wageningen,
    weekly_lags,
)

CASES = [(champion(), 2017), (wageningen(), 1998)]
IDS = ["champion", "wageningen"]
by_place = pytest.mark.parametrize(("series", "year"), CASES, ids=IDS)
WINTER, SUMMER = (12, 1, 2), (6, 7, 8)


@by_place
def test_winter_months_are_slower_than_summer_months(series: Series, year: int) -> None:
    print(f"\n{lag_table(series, year)}")
    for what in ("lag_p50_d", "lag_p90_d"):
        lag_d = monthly(weekly_lags(series, year), what)
        assert min(lag_d[month] for month in WINTER) > max(lag_d[month] for month in SUMMER)
    came_d = monthly(weekly_lags(series, year), "observed_d")  # four batches a month: by season
    assert sum(came_d[month] for month in WINTER) > 2 * sum(came_d[month] for month in SUMMER)


@by_place
def test_the_water_of_every_batch_closes(series: Series, year: int) -> None:
    assert max(lag.imbalance_mm for lag in weekly_lags(series, year)) < 1e-6


@by_place
def test_what_came_lies_mostly_within_what_was_foretold(series: Series, year: int) -> None:
    # 80 % intervals of the weather and of pad and sand; what came is the weather alone, so more lie
    # inside, and fewer than two in three would mean a forecast that is too sure
    lags = weekly_lags(series, year)
    inside = [lag.lag_p10_d <= lag.observed_d <= lag.lag_p90_d for lag in lags]
    assert np.mean(inside) > 2 / 3


def test_the_wet_autumn_of_the_sea_climate_is_slower_than_its_summer() -> None:
    # at Wageningen October to December are wet and dull: rain 64 mm, ET0 30, 15 and 12 mm a month
    lag_d = monthly(weekly_lags(wageningen(), 1998), "lag_p50_d")
    assert min(lag_d[month] for month in (10, 11, 12)) > 3 * max(lag_d[m] for m in SUMMER)


@by_place
def test_of_summer_batches_those_rained_on_take_longer(series: Series, year: int) -> None:
    """Over all summers of the file, so that wet weeks are told apart from winter."""
    day, n_days = series.history.day, 40
    month = day.astype("datetime64[M]").astype(int) % 12 + 1
    starts = np.flatnonzero(np.isin(month, SUMMER) & (np.arange(day.size) < day.size - n_days))
    windows = starts[:, None] + np.arange(n_days)
    is_whole = (day[windows[:, -1]] - day[windows[:, 0]]).astype(int) == n_days - 1
    et0_mm, rain_mm = series.history.et0_mm[windows], series.history.rain_mm[windows]
    is_known = is_whole & ~np.isnan(et0_mm).any(axis=1)
    run = simulate_drying(
        LAYER,
        initial_moisture_wb_frac=START_WB_FRAC,
        et0_mm=et0_mm[is_known],
        rain_mm=rain_mm[is_known],
        turning=Turning((1,) * n_days, 0.25),
    )
    dry_d = first_dry_day(run, TARGET)
    dry_d = np.where(dry_d < 0, n_days, dry_d)
    rained_mm = rain_mm[is_known, :3].sum(axis=1)
    lags = [
        dry_d[rained_mm == 0],
        dry_d[(rained_mm > 0) & (rained_mm <= 10)],
        dry_d[rained_mm > 10],
    ]
    assert min(part.size for part in lags) > 50
    means = [float(part.mean()) for part in lags]
    assert means == sorted(means)
    assert means[2] > means[0] + 1


@by_place
def test_a_stricter_target_takes_longer(series: Series, year: int) -> None:
    first = int(np.searchsorted(series.history.day, np.datetime64(f"{year}-03-01")))
    spring = slice(first, first + 150)
    run = simulate_drying(
        LAYER,
        initial_moisture_wb_frac=START_WB_FRAC,
        et0_mm=series.history.et0_mm[spring],
        rain_mm=series.history.rain_mm[spring],
        turning=Turning((1,) * 150, 0.25),
    )
    days = [int(first_dry_day(run, DryTarget(moisture))[0]) for moisture in (0.06, 0.05, 0.04)]
    assert days == sorted(days)
    assert days[0] >= 0


def test_where_et0_comes_from_is_known_day_by_day() -> None:
    assert set(champion().methods) == {ET0Method.GIVEN}
    counts = Counter(wageningen().methods)
    assert set(counts) == {ET0Method.FULL, ET0Method.PARTLY_ESTIMATED}
    assert counts[ET0Method.PARTLY_ESTIMATED] == 6  # the days of the file with a nil
