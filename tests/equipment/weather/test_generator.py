"""The invented High Plains: its sums are those asked for, its days are plausible and repeatable."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from equipment.weather.calc.checks import check_weather
from equipment.weather.calc.days import DailyWeather
from equipment.weather.calc.et0 import ET0Method, reference_et
from equipment.weather.calc.generator import (
    DRY,
    HIGH_PLAINS,
    PLAIN,
    WET,
    Overlay,
    generate_weather,
)

NAMES = (
    "tmin_degc", "tmax_degc", "rain_mm", "rh_min_frac", "rh_max_frac", "wind_2m_m_s",
    "solar_mj_m2_d",
)  # fmt: skip


def made(overlay: Overlay = PLAIN, *, seed: int = 7, n_days: int = 365 * 20) -> DailyWeather:
    return generate_weather(date(2006, 1, 1), n_days, np.random.default_rng(seed), overlay=overlay)


def monthly_mean(weather: DailyWeather, values: np.ndarray, *months: int) -> float:
    month = weather.day.astype("datetime64[M]").astype(int) % 12 + 1
    return float(values[np.isin(month, months)].mean())


def test_a_hundred_years_have_the_sums_of_the_semi_arid_plains() -> None:
    # champion_climate.txt (aquacrop 3.1.0), Nebraska: 414 mm of rain, 1 361 mm of ET0 a year
    weather = made(n_days=36525)
    assert weather.rain_mm.sum() / 100 == pytest.approx(414, rel=0.06)
    assert reference_et(weather, HIGH_PLAINS).et0_mm.sum() / 100 == pytest.approx(1361, rel=0.02)


def test_seasons_are_those_of_the_high_plains() -> None:
    weather = made()
    mean_degc = (weather.tmin_degc + weather.tmax_degc) / 2
    assert monthly_mean(weather, mean_degc, 12, 1, 2) == pytest.approx(0, abs=1.5)
    assert monthly_mean(weather, weather.tmax_degc, 7) == pytest.approx(33, abs=1.5)
    summer_mm = monthly_mean(weather, weather.rain_mm, 5, 6, 7, 8) * 123
    assert summer_mm > 0.55 * weather.rain_mm.sum() / 20


def test_every_made_day_passes_the_import_checks() -> None:
    weather = made(WET)
    rows = [
        (line_no, [str(day), *(str(getattr(weather, name)[line_no - 2]) for name in NAMES)])
        for line_no, day in enumerate(weather.day, start=2)
    ]
    checked = check_weather(
        ["date", *NAMES], rows, place=HIGH_PLAINS, zone=ZoneInfo("America/Denver")
    )
    assert checked.faults == ()
    assert checked.n_used == weather.n_days


def test_made_weather_is_complete_for_fao56() -> None:
    weather = made(n_days=400)
    assert set(reference_et(weather, HIGH_PLAINS).methods) == {ET0Method.FULL}


def test_same_seed_same_weather_and_more_days_only_lengthen_it() -> None:
    short, long = made(n_days=100), made(n_days=900)
    for name in NAMES:
        assert getattr(short, name).tolist() == getattr(long, name)[:100].tolist()
    assert made(seed=8, n_days=100).rain_mm.tolist() != short.rain_mm.tolist()


def test_the_wet_overlay_keeps_every_rain_day_and_adds_more() -> None:
    plain, wet = made(), made(WET)
    assert (wet.rain_mm >= plain.rain_mm - 0.05).all()  # rounded to a tenth
    assert (wet.rain_mm > 0).sum() > 1.4 * (plain.rain_mm > 0).sum()
    assert wet.rain_mm.sum() > 1.7 * plain.rain_mm.sum()


def test_wet_years_evaporate_less_and_dry_years_more() -> None:
    wet, plain, dry = (
        reference_et(made(overlay), HIGH_PLAINS).et0_mm.sum() for overlay in (WET, PLAIN, DRY)
    )
    assert wet < plain < dry


def test_no_rain_days_at_all_may_be_asked_for() -> None:
    assert made(Overlay(rain_days_factor=0)).rain_mm.sum() == 0


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        Overlay(rain_days_factor=-1)
    with pytest.raises(ValueError, match="n_days"):
        made(n_days=0)
