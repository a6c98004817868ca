"""The flush water of the coming week: the runs as planned, the weather as that week mostly is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from equipment.flushing.calc import WaterBalance, WaterDay, WaterStore, balance_days
from equipment.flushing.models import Tank
from equipment.flushing.queries import flush_m3_d_by_end, flush_water_of, tank_plans
from equipment.sandyard.calc import WATER_KG_M3, dry_basis_frac
from equipment.site.calc.local_time import local_date_of
from equipment.site.queries import site_of
from equipment.weather.models import WeatherDay
from equipment.weather.queries import recorded_days

from .queries import steady_day
from .services import practice_of

DAY = timedelta(days=1)
DAYS = 7
YEARS = 30  # of weather looked at, where recorded


@dataclass(frozen=True, slots=True)
class WaterWeek:
    """Seven days and their sum; `n_days` of past weather stand behind rain and evaporation."""

    days: tuple[WaterBalance, ...]
    n_days: int

    @property
    def total(self) -> WaterBalance:
        return sum(self.days[1:], start=self.days[0])


def water_week(site_id: int, at: datetime) -> WaterWeek:
    """Balance tanks and recycled water over the coming seven days: about 16 queries.

    The recycled store starts at its level as last measured, a setting. Sand carries off the
    moisture of scooped sand on the steady day's recovered mass; solids their share, a setting.
    """
    settings = flush_water_of(site_id)
    tanks = tank_plans(site_id, at, at)
    weather = _weather(site_id, at)
    flush_m3_d = sum(flush_m3_d_by_end(site_id, at, at + DAYS * DAY).values())
    moisture = float(dry_basis_frac(practice_of(site_id).scooped_moisture_wb_frac))
    sand_m3_d = steady_day(site_id).recovered_kg_d * moisture / WATER_KG_M3
    solids_m3_d = flush_m3_d * settings.solids_frac
    day = WaterDay(
        flush_m3=flush_m3_d,
        sand_m3=min(sand_m3_d, flush_m3_d - solids_m3_d),
        solids_m3=solids_m3_d,
        rain_mm=_mean(weather, "rain_mm"),
        et0_mm=_mean(weather, "et0_mm"),
        fresh_m3=settings.fresh_m3_d,
    )
    held_m3 = sum(plan.day.end_m3 for plan in tanks)
    store = WaterStore(
        settings.recycled_capacity_m3 + _tanks_m3([plan.tank for plan in tanks]),
        settings.recycled_area_m2,
    )
    found = balance_days(store, settings.recycled_level_m3 + held_m3, [day] * DAYS)
    return WaterWeek(found, len(weather))


def _tanks_m3(tanks: list[Tank]) -> float:
    return sum(tank.volume_m3 for tank in tanks)


def _mean(days: list[WeatherDay], name: str) -> float:
    return sum(getattr(day, name) for day in days) / len(days) if days else 0.0


def _weather(site_id: int, at: datetime) -> list[WeatherDay]:
    """Recorded days of the same seven dates in years past: 2 queries."""
    today = local_date_of(at, site_of(site_id).zone)
    dates = [
        _in_year(today + n * DAY, today.year - years)
        for n in range(DAYS)
        for years in range(1, YEARS + 1)
    ]
    return list(recorded_days(site_id, today).filter(on__in=dates))


def _in_year(on: date, year: int) -> date:
    """The same date of another year; a leap day is the day before where there is none."""
    is_leap_day = (on.month, on.day) == (2, 29)
    return on.replace(year=year, day=28) if is_leap_day else on.replace(year=year)
