"""Hours of weather gathered into local days."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.site.calc.local_time import day_bounds, elapsed_h, local_date_of
from equipment.weather.calc.days import DailyWeather, Floats, daily_weather


def daily_from_hourly(
    hours: Mapping[datetime, Mapping[str, float]], zone: ZoneInfo
) -> DailyWeather:
    """Gather hours into the local days that are complete.

    Parameters
    ----------
    hours : mapping of datetime to mapping of str to float
        By the UTC instant at which each hour begins: temp_degc, rain_mm [mm], rh_frac,
        wind_2m_m_s [m s⁻¹] and solar_mj_m2_h [MJ m⁻² h⁻¹], NaN where not known.
    zone : ZoneInfo
        Whose midnight parts the days.

    Returns
    -------
    DailyWeather
        A day counts only with all its hours: 23 on the spring night, 25 on the autumn night.
        Lowest and highest temperature and humidity, mean wind, sums of rain and radiation; NaN
        where any hour of the day is not known.
    """
    by_day = _complete_days(hours, zone)

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
    )


def _complete_days(
    hours: Mapping[datetime, Mapping[str, float]], zone: ZoneInfo
) -> dict[date, list[Mapping[str, float]]]:
    by_day = defaultdict(list)
    for at in sorted(hours):
        by_day[local_date_of(at, zone)].append(hours[at])
    return {on: day for on, day in by_day.items() if len(day) == elapsed_h(*day_bounds(on, zone))}
