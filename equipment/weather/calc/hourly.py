"""Hours of weather gathered into local days."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.site.calc.local_time import day_bounds, elapsed_h, local_date_of
from equipment.weather.calc.days import DailyWeather, Floats, Place, daily_weather, day_of_year
from equipment.weather.calc.et0_hourly import HourSun, hourly_et0_mm


def daily_from_hourly(
    hours: Mapping[datetime, Mapping[str, float]], zone: ZoneInfo, place: Place
) -> DailyWeather:
    """Gather hours into the local days that are complete.

    Parameters
    ----------
    hours : mapping of datetime to mapping of str to float
        By the UTC instant at which each hour begins: temp_degc, rain_mm [mm], rh_frac,
        wind_2m_m_s [m s⁻¹] and solar_mj_m2_h [MJ m⁻² h⁻¹], NaN where not known.
    zone : ZoneInfo
        Whose midnight parts the days.
    place : Place
        For ET0 of the hours; without its longitude they give none.

    Returns
    -------
    DailyWeather
        A day counts only with all its hours: 23 on the spring night, 25 on the autumn night.
        Lowest and highest temperature and humidity, mean wind, sums of rain and radiation; NaN
        where any hour of the day is not known.
    """
    with_et0 = _with_et0(hours, place)
    by_day = _complete_days(with_et0, zone)

    def column(name: str, gather: str) -> Floats:
        values = [getattr(np, gather)([hour[name] for hour in day]) for day in by_day.values()]
        return np.array(values, dtype=float)

    return daily_weather(
        np.array(list(by_day), dtype="datetime64[D]"),
        tmin_degc=column("temp_degc", "min"),
        tmax_degc=column("temp_degc", "max"),
        rain_mm=column("rain_mm", "sum"),
        rh_min_frac=column("rh_frac", "min"),
        rh_max_frac=column("rh_frac", "max"),
        wind_2m_m_s=column("wind_2m_m_s", "mean"),
        solar_mj_m2_d=column("solar_mj_m2_h", "sum"),
        et0_of_hours_mm=np.maximum(column("et0_mm", "sum"), 0.0),  # as of single days: no dew
    )


def _with_et0(
    hours: Mapping[datetime, Mapping[str, float]], place: Place
) -> dict[datetime, dict[str, float]]:
    """Put each hour's ET0 beside what was measured; NaN where any of it is not known."""
    ordered = sorted(hours)
    et0_mm = np.full(len(ordered), np.nan)
    if place.longitude_deg is not None and ordered:
        names = ("temp_degc", "rh_frac", "wind_2m_m_s", "solar_mj_m2_h")
        inputs = {name: np.array([hours[at][name] for at in ordered]) for name in names}
        et0_mm = hourly_et0_mm(place, _sun_of(ordered, place.longitude_deg), **inputs)
    return {at: {**hours[at], "et0_mm": float(mm)} for at, mm in zip(ordered, et0_mm, strict=True)}


def _sun_of(hours: list[datetime], longitude_deg: float) -> HourSun:
    """True solar time of the middle of each hour (FAO-56 eq. 31-33)."""
    utc_h = np.array([at.timestamp() / 3600 + 0.5 for at in hours])
    mean_h = utc_h + longitude_deg / 15
    day = np.floor(mean_h / 24).astype("datetime64[D]")
    doy = day_of_year(day).astype(float)
    b_rad = 2 * np.pi * (doy - 81) / 364
    equation_h = 0.1645 * np.sin(2 * b_rad) - 0.1255 * np.cos(b_rad) - 0.025 * np.sin(b_rad)
    return HourSun(doy, mean_h % 24 + equation_h)


def _complete_days(
    hours: Mapping[datetime, Mapping[str, float]], zone: ZoneInfo
) -> dict[date, list[Mapping[str, float]]]:
    by_day = defaultdict(list)
    for at in sorted(hours):
        by_day[local_date_of(at, zone)].append(hours[at])
    return {on: day for on, day in by_day.items() if len(day) == elapsed_h(*day_bounds(on, zone))}
