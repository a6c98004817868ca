"""Reads of the weather that upper rooms share."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import F, QuerySet

from equipment.site.calc.scores import bias, hit_share

from .calc.foretold import Foretold, follow_forecast
from .calc.members import ClimateHistory, WeatherMembers
from .models import DayForecast, Measure, WeatherDay, WeekScore


def recorded_days(site_id: int, before: date) -> QuerySet[WeatherDay]:
    """Each recorded day once, in order: 1 query.

    The farm's first station counts (they stand in the order of the farm file); on a day it did not
    record the next one does, and one that is out of use comes last.
    """
    turn = (F("station__retired_at").asc(nulls_first=True), "station_id")
    days = WeatherDay.objects.filter(site_id=site_id, on__lt=before)
    return days.order_by("on", *turn).distinct("on")


def climate_of(days: Sequence[WeatherDay]) -> ClimateHistory:
    """Give recorded days as the history that members are drawn from."""
    return ClimateHistory(
        np.array([day.on for day in days], dtype="datetime64[D]"),
        np.array([day.et0_mm for day in days]),
        np.array([day.rain_mm for day in days]),
    )


def forecast_days(site_id: int, start_on: date, n_days: int) -> QuerySet[DayForecast]:
    """The last word on each coming day that somebody foretold, in order: 1 query."""
    days = DayForecast.objects.filter(
        site_id=site_id, on__gte=start_on, on__lt=start_on + timedelta(days=n_days)
    )
    return days.order_by("on", "-made_at", "-id").distinct("on")


def foretold_of(site_id: int, start_on: date, n_days: int) -> Foretold:
    """The same as arrays, NaN on days that nobody foretold: 1 query."""
    names = ("rain_chance_frac", "rain_mm", "et0_mm", "et0_sd_mm")
    columns = {name: np.full(n_days, np.nan) for name in names}
    for day in forecast_days(site_id, start_on, n_days):
        for name in names:
            columns[name][(day.on - start_on).days] = getattr(day, name)
    return Foretold(**columns)


def with_forecast(
    site_id: int, members: WeatherMembers, rng: np.random.Generator
) -> WeatherMembers:
    """Let members of past years follow what is foretold of their first days: 1 query."""
    foretold = foretold_of(site_id, members.start_on, members.horizon_d)
    return follow_forecast(members, foretold, rng) if foretold.is_told.any() else members


@dataclass(frozen=True, slots=True)
class WeekRecord:
    """How good the forecasts of a sum have been; `climate_crps_mm` is that of past years alone."""

    measure: Measure
    n_forecasts: int
    bias_mm: float
    crps_mm: float
    climate_crps_mm: float
    hit_share: float


def week_records(site_id: int) -> list[WeekRecord]:
    """Sum up the scores of a site; a measure without one is left out: 1 query."""
    scores = list(WeekScore.objects.filter(site_id=site_id).order_by("forecast__start_on"))
    by_measure = {m: [score for score in scores if score.measure == m] for m in Measure}
    return [_record(measure, rows) for measure, rows in by_measure.items() if rows]


def _record(measure: Measure, scores: list[WeekScore]) -> WeekRecord:
    columns = ("mean_mm", "came_mm", "crps_mm", "climate_crps_mm", "pit")
    mean, came, crps, climate, pits = (
        np.array([getattr(score, name) for score in scores]) for name in columns
    )
    return WeekRecord(
        measure=measure,
        n_forecasts=len(scores),
        bias_mm=bias(mean, came),
        crps_mm=float(crps.mean()),
        climate_crps_mm=float(climate.mean()),
        hit_share=hit_share(pits),
    )


def days_between(site_id: int, from_on: date, until_on: date) -> QuerySet[WeatherDay]:
    """Each recorded day of a span once, in order, with its station: 1 query."""
    days = recorded_days(site_id, until_on).filter(on__gte=from_on)
    return days.select_related("station")
