"""Verbs of the weather: days are recorded, each once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime

from equipment.site.writes import site_write

from .calc.days import DailyWeather, Place
from .calc.et0 import ReferenceET, reference_et
from .models import WeatherDay, WeatherStation

MEASURED = (
    "tmin_degc",
    "tmax_degc",
    "rain_mm",
    "rh_min_frac",
    "rh_max_frac",
    "wind_2m_m_s",
    "solar_mj_m2_d",
)
VALUES = (*MEASURED, "et0_mm", "et0_method", "et0_estimated")


@dataclass(frozen=True, slots=True)
class DayCounts:
    """How many days were new, how many said something else than before."""

    n_new: int
    n_changed: int


def record_days(*, station: WeatherStation, days: DailyWeather, at: datetime) -> DayCounts:
    """Record daily weather at a station, with ET0 where it is not given; the newest word counts.

    The same days again change nothing. Tells upper rooms (`weather.imported`).
    """
    where = Place(station.latitude_deg, station.elevation_m)
    wanted = {day.on: day for day in _rows(station, days, reference_et(days, where))}
    with site_write(station.site_id, at) as write:
        WeatherStation.objects.select_for_update(no_key=True).get(pk=station.pk)
        known = {day.on: day for day in WeatherDay.objects.filter(station=station)}
        new = [day for on, day in wanted.items() if on not in known]
        changed = [day for on, day in wanted.items() if on in known and _differ(known[on], day)]
        WeatherDay.objects.bulk_create(
            [*new, *changed],
            batch_size=1000,
            update_conflicts=True,
            unique_fields=["station", "on"],
            update_fields=VALUES,
        )
        if new or changed:
            write.change("weather.imported", station.pk)
    return DayCounts(len(new), len(changed))


def _rows(station: WeatherStation, days: DailyWeather, et0: ReferenceET) -> list[WeatherDay]:
    rows = []
    for index in range(days.n_days):
        on: date = days.day[index].item()
        values = {name: _number(getattr(days, name)[index]) for name in MEASURED}
        row = WeatherDay(site_id=station.site_id, station=station, on=on, **values)
        row.et0_mm = float(et0.et0_mm[index])
        row.et0_method = et0.methods[index].value
        row.et0_estimated = ",".join(et0.estimated_inputs(index))
        rows.append(row)
    return rows


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _differ(known: WeatherDay, wanted: WeatherDay) -> bool:
    return any(getattr(known, name) != getattr(wanted, name) for name in VALUES)
