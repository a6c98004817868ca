"""Hours of days: the sun's share against FAO-56's hourly radiation, rain against its sums."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.weather.calc.days import Place
from equipment.weather.calc.radiation import extraterrestrial_mj_m2_d
from equipment.weather.calc.subdaily import STORM_MAX_H, draw_storms, sun_shares


def test_hourly_shares_follow_the_published_extraterrestrial_radiation() -> None:
    # FAO-56 Example 19 (inputs and Ra from memory, recomputed by eq. 28): N'Diaye, 16°13' N,
    # 16°15' W, centre of its zone 15° W, 1 October, 14 to 15 h by the clock: Ra 3.543 MJ/m²/h.
    on, place = date(2026, 10, 1), Place(latitude_deg=16 + 13 / 60, elevation_m=8)
    doy = on.timetuple().tm_yday
    b = 2 * np.pi * (doy - 81) / 364  # eq. 32 and 33: the seasonal correction of solar time
    begins_h = 14 + (15 - 16.25) / 15 + 0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b)
    begins_h -= 0.025 * np.sin(b)
    shares = sun_shares(on, 1, place.latitude_deg)[0]
    first = int(begins_h)
    share = np.interp(begins_h, [first, first + 1], shares[first : first + 2])
    ra_mj_m2_d = float(extraterrestrial_mj_m2_d(place, np.array([doy]))[0])
    assert share * ra_mj_m2_d == pytest.approx(3.543, rel=0.005)


@given(latitude=st.floats(-65, 65), day=st.dates(date(2000, 1, 1), date(2040, 12, 1)))
def test_shares_of_a_day_are_one_and_none_at_night(latitude: float, day: date) -> None:
    shares = sun_shares(day, 3, latitude)
    assert shares.sum(axis=1) == pytest.approx(np.ones(3))
    assert np.all(shares >= 0)
    assert np.all(shares[:, :2] == 0) or abs(latitude) > 40
    assert shares[:, :12] == pytest.approx(shares[:, :11:-1])  # morning as afternoon


def test_where_the_sun_stays_down_a_day_is_even() -> None:
    assert sun_shares(date(2026, 12, 21), 1, 80.0) == pytest.approx(np.full((1, 24), 1 / 24))


@pytest.mark.parametrize(("latitude", "n_days", "name"), [(91, 1, "latitude_deg"), (0, -1, "n_d")])
def test_nonsense_is_refused_by_name(latitude: float, n_days: int, name: str) -> None:
    with pytest.raises(ValueError, match=name):
        sun_shares(date(2026, 1, 1), n_days, latitude)


@given(seed=st.integers(0, 2**32), rain=st.lists(st.floats(0, 300), min_size=1, max_size=9))
def test_rain_of_the_hours_is_the_rain_of_the_day(seed: int, rain: list[float]) -> None:
    rain_mm = np.array(rain)
    storms = draw_storms(rain_mm.shape, np.random.default_rng(seed))
    hourly_mm = storms.hourly_mm(rain_mm)
    assert hourly_mm.sum(axis=-1) == pytest.approx(rain_mm)
    assert np.all((hourly_mm > 0).sum(axis=-1) <= STORM_MAX_H)


def test_storms_come_at_any_hour() -> None:
    storms = draw_storms((4_000,), np.random.default_rng(7))
    wet_h = storms.hourly_mm(np.ones(4_000)).sum(axis=0)
    assert wet_h.min() > 0.2 * wet_h.max()
    assert storms.begin_h.min() == 0
    assert (storms.begin_h + storms.length_h).max() == 24
