"""Years strung together from past weeks: sums like the open record's, each member on its own."""

from datetime import date

import numpy as np
import pytest

from equipment.weather.calc.years import year_members
from tests.equipment.weather.test_members import TEN_YEARS, history_of
from tests.schedules.sand.open_weather import champion

START_ON = date(2018, 1, 1)


def rngs(n_members: int, seed: int = 1) -> list[np.random.Generator]:
    return [np.random.default_rng([seed, member]) for member in range(n_members)]


def test_sums_of_drawn_months_have_mean_and_spread_of_the_open_record() -> None:
    # Champion, Nebraska, 1982-2017 (champion_climate.txt of aquacrop 3.1.0)
    series = champion().history
    members = year_members(series, START_ON, 360, rngs(2_000), block_d=30)
    before = series.day < np.datetime64(START_ON)
    month = series.day[before].astype("datetime64[M]")
    for n, first in ((0, "01"), (6, "07")):  # a block of January, one of July
        is_month = np.array([str(m)[5:] == first for m in month])
        record = np.array(
            [series.et0_mm[before][month == m].sum() for m in np.unique(month[is_month])]
        )
        drawn = members.et0_mm[:, 30 * n : 30 * n + 30].sum(axis=1)
        assert drawn.mean() == pytest.approx(record.mean() * 30 / 31, rel=0.06)
        assert drawn.std() == pytest.approx(record.std(), rel=0.3)


def test_a_member_is_the_same_however_many_are_drawn_with_it() -> None:
    many = year_members(TEN_YEARS, date(2026, 3, 5), 365, rngs(9))
    alone = year_members(TEN_YEARS, date(2026, 3, 5), 365, rngs(9)[4:5])
    assert np.array_equal(many.et0_mm[4], alone.et0_mm[0])
    assert np.array_equal(many.rain_mm[4], many.et0_mm[4] * 2)
    assert many.source_day[4] == alone.source_day[0]


def test_every_day_is_of_its_season_and_of_the_past() -> None:
    members = year_members(TEN_YEARS, date(2026, 3, 5), 365, rngs(50))
    drawn = members.et0_mm.astype(np.int64).astype("datetime64[D]")
    wanted = np.datetime64("2026-03-05") + np.arange(365)
    away_d = ((drawn - wanted).astype(np.int64) + 182) % 365.25 - 182
    assert np.abs(away_d).max() <= 8
    assert drawn.max() < np.datetime64("2026-03-05")


def test_a_season_that_nobody_recorded_is_named() -> None:
    spring = history_of(date(2025, 2, 1), date(2025, 6, 30))
    with pytest.raises(ValueError, match=r"the 30 days from 0\d July"):
        year_members(spring, date(2026, 3, 5), 365, rngs(1))


@pytest.mark.parametrize(
    ("horizon_d", "block_d", "n_members", "name"),
    [(0, 30, 1, "horizon_d"), (10, 0, 1, "block_d"), (10, 30, 0, "rngs")],
)
def test_nonsense_is_refused_by_name(
    horizon_d: int, block_d: int, n_members: int, name: str
) -> None:
    with pytest.raises(ValueError, match=name):
        year_members(TEN_YEARS, date(2026, 3, 5), horizon_d, rngs(n_members), block_d=block_d)


def test_a_history_of_days_to_come_gives_nothing() -> None:
    with pytest.raises(ValueError, match="no day before"):
        year_members(TEN_YEARS, date(2015, 1, 1), 30, rngs(1))
