"""Members take over a forecast's amounts and keep the order that past weather had."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from equipment.weather.calc.foretold import Foretold, follow_forecast, shuffled_rank
from equipment.weather.calc.members import WeatherMembers, resample_years
from tests.schedules.sand.open_weather import champion

START = date(2018, 5, 1)


def foretold(**columns: list[float]) -> Foretold:
    usual: dict[str, list[float]] = {
        "rain_chance_frac": [0.5],
        "rain_mm": [8.0],
        "et0_mm": [5.0],
        "et0_sd_mm": [1.0],
    }
    return Foretold(**{name: np.array(values) for name, values in (usual | columns).items()})


def past_members(n_members: int = 200, horizon_d: int = 7) -> WeatherMembers:
    return resample_years(
        champion().history, START, horizon_d, np.random.default_rng(1), n_members=n_members
    )


def test_ranks_are_dealt_as_in_the_published_example() -> None:
    # Clark et al. 2004, the worked example of the shuffle (numbers from memory, ranks by hand)
    past = np.array([10.7, 9.3, 6.8, 11.3, 12.2, 13.6, 8.9, 9.9, 11.8, 12.9])
    ensemble = np.array([15.3, 11.2, 8.8, 11.9, 7.5, 9.7, 8.3, 12.5, 10.3, 10.1])
    expected = [10.1, 8.8, 7.5, 10.3, 11.9, 15.3, 8.3, 9.7, 11.2, 12.5]
    rank = shuffled_rank(past[:, None], np.random.default_rng(0))[:, 0]
    assert rank.tolist() == [4, 2, 0, 5, 7, 9, 1, 3, 6, 8]
    assert np.sort(ensemble)[rank].tolist() == expected


def test_each_day_has_the_distribution_of_its_forecast() -> None:
    # ET0 against scipy's normal, rain against scipy's exponential above its share of dry days
    made = follow_forecast(past_members(), foretold(), np.random.default_rng(2))
    et0_mm, rain_mm = np.sort(made.et0_mm[:, 0]), np.sort(made.rain_mm[:, 0])
    assert stats.kstest(et0_mm, stats.norm(5, 1).cdf).statistic < 0.01
    assert (rain_mm == 0).mean() == 0.5
    assert stats.kstest(rain_mm[rain_mm > 0], stats.expon(scale=8).cdf).statistic < 0.02


def test_other_days_stay_and_the_order_of_the_past_with_them() -> None:
    past = past_members()
    told = foretold(
        rain_chance_frac=[np.nan, 0.7],
        rain_mm=[np.nan, 4.0],
        et0_mm=[np.nan, 5.0],
        et0_sd_mm=[np.nan, 1.0],
    )
    made = follow_forecast(past, told, np.random.default_rng(2))
    others = [0, 2, 3, 4, 5, 6]
    assert (made.et0_mm[:, others] == past.et0_mm[:, others]).all()
    assert (made.rain_mm[:, others] == past.rain_mm[:, others]).all()
    assert stats.spearmanr(made.et0_mm[:, 1], past.et0_mm[:, 1]).statistic > 0.999
    assert made.source_day.tolist() == past.source_day.tolist()


def test_wet_days_keep_less_et0_as_they_had() -> None:
    told = foretold(rain_chance_frac=[0.5], et0_mm=[5.0])
    past = past_members()
    made = follow_forecast(past, told, np.random.default_rng(2))
    was = stats.spearmanr(past.rain_mm[:, 0], past.et0_mm[:, 0]).statistic
    now = stats.spearmanr(made.rain_mm[:, 0], made.et0_mm[:, 0]).statistic
    assert was < -0.2
    assert now == pytest.approx(was, abs=0.15)


@given(
    chance_frac=st.floats(0, 1),
    rain_mm=st.floats(0, 60),
    et0_mm=st.floats(0, 12),
    sd_mm=st.floats(0, 3),
    n_members=st.integers(1, 60),
)
def test_amounts_are_never_below_nothing_and_their_mean_is_the_forecasts(
    chance_frac: float, rain_mm: float, et0_mm: float, sd_mm: float, n_members: int
) -> None:
    told = foretold(
        rain_chance_frac=[chance_frac], rain_mm=[rain_mm], et0_mm=[et0_mm], et0_sd_mm=[sd_mm]
    )
    made = follow_forecast(past_members(n_members), told, np.random.default_rng(3))
    assert np.isfinite(made.rain_mm).all()
    assert (made.rain_mm >= 0).all()
    assert (made.et0_mm >= 0).all()
    assert made.et0_mm[:, 0].mean() == pytest.approx(et0_mm, abs=0.01) or sd_mm > 0
    assert made.rain_mm[:, 0].mean() <= chance_frac * rain_mm + rain_mm / n_members + 1e-9


def test_more_rain_foretold_is_more_rain_in_every_member() -> None:
    low, high = (
        follow_forecast(past_members(), foretold(rain_mm=[mm]), np.random.default_rng(4)).rain_mm
        for mm in (4.0, 9.0)
    )
    assert (high >= low).all()


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"rain_mm": [-1.0]}, "rain_mm is below 0"),
        ({"et0_sd_mm": [-1.0]}, "et0_sd_mm is below 0"),
        ({"rain_chance_frac": [60.0]}, "rain_chance_frac is not within"),
        ({"et0_mm": [1.0, 2.0]}, "differ in shape"),
        ({"et0_mm": [float("nan")]}, "a day is told in part"),
    ],
)
def test_nonsense_is_refused_by_name(columns: dict[str, list[float]], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        foretold(**columns)
