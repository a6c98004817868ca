"""An invented but believable High Plains: daily weather from a seeded generator, for the demo."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.days import DailyWeather, Floats, Place, daily_weather, days_from
from equipment.weather.calc.et0 import saturation_kpa
from equipment.weather.calc.radiation import clear_sky_mj_m2_d

HIGH_PLAINS = Place(latitude_deg=38.6, elevation_m=1190.0)

# Monthly normals, January first: invented, so that a year has about 414 mm of rain, mostly from May
# to August, about 1 360 mm of reference ET, winters near 0 °C and July afternoons near 33 °C.
_TMIN_DEGC = (-8.5, -7.0, -3.0, 2.0, 7.5, 13.0, 16.0, 15.0, 10.0, 3.0, -4.0, -8.0)
_TMAX_DEGC = (8.0, 9.5, 14.0, 19.0, 24.0, 30.0, 33.0, 32.0, 27.5, 20.5, 13.0, 8.0)
_RAIN_MM = (8, 9, 24, 35, 60, 65, 75, 62, 32, 26, 11, 7)
_WET_DAY_FRAC = (0.08, 0.09, 0.13, 0.17, 0.24, 0.25, 0.25, 0.23, 0.15, 0.12, 0.08, 0.07)
_WIND_2M_M_S = (2.1, 2.2, 2.6, 2.9, 2.6, 2.3, 2.0, 1.9, 2.0, 2.1, 2.1, 2.0)
_DAYS_A_MONTH = 365.25 / 12
_MONTH_MIDDLE_DAY = tuple((month + 0.5) * _DAYS_A_MONTH for month in range(12))

# How days differ from the normals: invented, in the usual size
_WET_PERSISTENCE = 0.2  # lag-1 correlation of wet days
_RAIN_GAMMA_SHAPE = 0.7  # below 1: many small showers, few large ones
_WARM_PERSISTENCE = 0.65  # lag-1 correlation of temperature anomalies
_ANOMALY_SD_DEGC = 3.8
_RANGE_SD_DEGC = 1.8
_RANGE_MIN_DEGC = 2.0
_WET_DAY_COOLER_DEGC = 3.0  # the afternoon of a rain day against that of a dry one
_DEWPOINT_BELOW_TMIN_DEGC = (3.0, 0.5)  # dry day, wet day
_CLEARNESS_MEAN_FRAC = (0.88, 0.58)  # of the clear sky's radiation; dry day, wet day
_CLEARNESS_SD_FRAC = 0.10
_WIND_LOG_SD = 0.28


@dataclass(frozen=True, slots=True)
class Overlay:
    """How a year differs from the normals.

    Parameters
    ----------
    rain_days_factor : float
        Times as many rain days, ≥ 0; no day is wet with more than 0.9 probability.
    rain_amount_factor : float
        Times as much rain on a rain day, ≥ 0.

    Raises
    ------
    ValueError
        A factor is negative.
    """

    rain_days_factor: float = 1.0
    rain_amount_factor: float = 1.0

    def __post_init__(self) -> None:
        if self.rain_days_factor < 0 or self.rain_amount_factor < 0:
            raise ValueError("factors of an overlay cannot be negative")


PLAIN = Overlay()
DRY = Overlay(rain_days_factor=0.6, rain_amount_factor=0.8)
WET = Overlay(rain_days_factor=1.6, rain_amount_factor=1.25)


def generate_weather(
    start_on: date,
    n_days: int,
    rng: np.random.Generator,
    *,
    overlay: Overlay = PLAIN,
    place: Place = HIGH_PLAINS,
) -> DailyWeather:
    """Invent daily weather.

    Parameters
    ----------
    start_on : date
        First day.
    n_days : int
        How many, 1 or more.
    rng : numpy.random.Generator
        A fresh one of the same seed gives the same weather; more days only lengthen the series.
    overlay : Overlay
        The same seed under another overlay keeps its storms: a wetter one adds days to them.
    place : Place
        For the sun's height; the normals are those of the High Plains whatever it is.

    Returns
    -------
    DailyWeather
        Complete but for `ea_kpa` and `et0_mm`, which follow from the rest.

    Raises
    ------
    ValueError
        `n_days` below 1.

    Notes
    -----
    Rain is a two-state chain with gamma amounts, temperature a first-order autoregression about
    the season, radiation and humidity follow from whether it rains: the structure of Richardson,
    "Stochastic simulation of daily precipitation, temperature, and solar radiation", Water
    Resources Research 17(1), 1981, 182-190 (from memory). The numbers are invented.
    """
    if n_days < 1:
        raise ValueError(f"n_days {n_days} is below 1")
    day = days_from(start_on, n_days)
    number = (day - day.astype("datetime64[Y]")).astype(np.int64)
    streams = rng.spawn(6)  # one a quantity, so that lengths do not shift each other's draws
    is_wet, rain_mm = _rain(number, overlay, streams[0], streams[1])
    tmin_degc, tmax_degc = _temperatures(number, is_wet, streams[2], streams[3])
    dewpoint_degc = tmin_degc - np.where(is_wet, *_DEWPOINT_BELOW_TMIN_DEGC[::-1])
    ea_kpa = saturation_kpa(dewpoint_degc)
    return daily_weather(
        day,
        tmin_degc=tmin_degc,
        tmax_degc=tmax_degc,
        rain_mm=rain_mm,
        rh_min_frac=np.round(ea_kpa / saturation_kpa(tmax_degc), 3),
        rh_max_frac=np.round(ea_kpa / saturation_kpa(tmin_degc), 3),
        wind_2m_m_s=_wind(number, streams[4]),
        solar_mj_m2_d=_solar(number, is_wet, place, streams[5]),
    )


def _normal(number: NDArray[np.int64], monthly: tuple[float, ...]) -> Floats:
    """Take the season's normal, straight between the middles of the months."""
    return np.interp(number, _MONTH_MIDDLE_DAY, monthly, period=365.25)


def _rain(
    number: NDArray[np.int64],
    overlay: Overlay,
    spells: np.random.Generator,
    amounts: np.random.Generator,
) -> tuple[NDArray[np.bool_], Floats]:
    plain_frac = _normal(number, _WET_DAY_FRAC)
    wet_frac = np.minimum(plain_frac * overlay.rain_days_factor, 0.9)
    after_dry = wet_frac * (1 - _WET_PERSISTENCE)
    after_wet = wet_frac + _WET_PERSISTENCE * (1 - wet_frac) * (wet_frac > 0)
    is_wet = np.zeros(number.size, dtype=bool)
    yesterday = False
    for index, draw in enumerate(spells.random(number.size)):
        yesterday = bool(draw < (after_wet if yesterday else after_dry)[index])
        is_wet[index] = yesterday
    mean_mm = _normal(number, _RAIN_MM) / (_DAYS_A_MONTH * plain_frac) * overlay.rain_amount_factor
    drawn_mm = amounts.gamma(_RAIN_GAMMA_SHAPE, mean_mm / _RAIN_GAMMA_SHAPE)
    return is_wet, np.where(is_wet, np.round(drawn_mm, 1), 0.0)


def _temperatures(
    number: NDArray[np.int64],
    is_wet: NDArray[np.bool_],
    spells: np.random.Generator,
    ranges: np.random.Generator,
) -> tuple[Floats, Floats]:
    anomaly_degc = _autoregression(spells.standard_normal(number.size)) * _ANOMALY_SD_DEGC
    tmin_degc = _normal(number, _TMIN_DEGC) + anomaly_degc
    range_degc = _normal(number, _TMAX_DEGC) - _normal(number, _TMIN_DEGC)
    range_degc += ranges.standard_normal(number.size) * _RANGE_SD_DEGC
    range_degc -= (is_wet - _normal(number, _WET_DAY_FRAC)) * _WET_DAY_COOLER_DEGC
    tmax_degc = tmin_degc + np.maximum(range_degc, _RANGE_MIN_DEGC)
    return np.round(tmin_degc, 1), np.round(tmax_degc, 1)


def _autoregression(shocks: Floats) -> Floats:
    """Turn independent standard normals into ones of unit variance that remember yesterday."""
    series = np.empty_like(shocks)
    series[0] = shocks[0]
    fresh = np.sqrt(1 - _WARM_PERSISTENCE**2)
    for index in range(1, shocks.size):
        series[index] = _WARM_PERSISTENCE * series[index - 1] + fresh * shocks[index]
    return series


def _wind(number: NDArray[np.int64], rng: np.random.Generator) -> Floats:
    gust = np.exp(rng.standard_normal(number.size) * _WIND_LOG_SD - _WIND_LOG_SD**2 / 2)
    return np.round(_normal(number, _WIND_2M_M_S) * gust, 1)


def _solar(
    number: NDArray[np.int64], is_wet: NDArray[np.bool_], place: Place, rng: np.random.Generator
) -> Floats:
    mean_frac = np.where(is_wet, *_CLEARNESS_MEAN_FRAC[::-1])
    drawn_frac = mean_frac + rng.standard_normal(number.size) * _CLEARNESS_SD_FRAC
    clear_frac = np.clip(drawn_frac, 0.1, 1.0)
    return np.round(clear_frac * clear_sky_mj_m2_d(place, number + 1), 2)
