"""What the weather of coming days may be: told by a person, drawn from past years, and scored."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.utils.translation import gettext as _

from equipment.site.calc.local_time import local_date_of
from equipment.site.calc.scores import crps, rank_pit
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Site
from equipment.site.writes import site_write

from .calc.days import Place, daily_weather, days_from
from .calc.et0 import ET0Method, reference_et
from .calc.members import WeatherMembers
from .calc.years import year_members
from .models import DayForecast, Measure, WeatherDay, WeatherStation, WeekForecast, WeekScore
from .queries import climate_of, forecast_days, recorded_days, with_forecast

WEEK_D = 7
N_MEMBERS = 100
TOLD_MAX_D = 15  # beyond two weeks a forecast says no more than the climate; common practice
ET0_SD_FRAC = 0.25  # error of a foretold day's ET0 where none is given; common practice, no source


@dataclass(frozen=True, slots=True)
class ToldDay:
    """What a person says of one coming day; ET0 None is reckoned from the temperatures."""

    on: date
    tmin_degc: float
    tmax_degc: float
    rain_chance_frac: float
    rain_mm: float
    et0_mm: float | None = None
    et0_sd_mm: float | None = None


def foretell_day(*, site_id: int, told: ToldDay, source: str, at: datetime) -> DayForecast:
    """Record a forecast of a coming day; the newest word on a day counts.

    Tells upper rooms (`weather.foretold`).
    """
    site = Site.objects.get(pk=site_id)
    _check_told(told, local_date_of(at, site.zone))
    et0_mm, method = _expected_et0(site_id, told)
    sd_mm = ET0_SD_FRAC * et0_mm if told.et0_sd_mm is None else told.et0_sd_mm
    values = asdict(told) | {"et0_mm": et0_mm, "et0_sd_mm": sd_mm, "et0_method": method.value}
    with site_write(site_id, at) as write:
        forecast, _made = DayForecast.objects.update_or_create(
            site_id=site_id,
            on=values.pop("on"),
            made_at=at,
            defaults=values | {"source": source},
        )
        write.change("weather.foretold", forecast.pk)
    return forecast


def _check_told(told: ToldDay, today: date) -> None:
    if not today <= told.on <= today + timedelta(days=TOLD_MAX_D):
        words = _("The day must be from today to %(n)d days ahead.")
        raise InvalidInputError(words % {"n": TOLD_MAX_D})
    if not -60 <= told.tmin_degc <= told.tmax_degc <= 60:
        raise InvalidInputError(_("The lowest temperature must not be above the highest."))
    if not 0 <= told.rain_chance_frac <= 1:
        raise InvalidInputError(_("The chance of rain must be from 0 to 100 %."))
    limits = ((told.rain_mm, 500), (told.et0_mm or 0, 25), (told.et0_sd_mm or 0, 25))
    if not all(0 <= amount <= most for amount, most in limits):
        raise InvalidInputError(_("Rain or ET0 is out of range: 500 mm and 25 mm a day at most."))


def _expected_et0(site_id: int, told: ToldDay) -> tuple[float, ET0Method]:
    if told.et0_mm is not None:
        return told.et0_mm, ET0Method.GIVEN
    station = WeatherStation.objects.filter(site_id=site_id, retired_at=None).order_by("id").first()
    if station is None:
        raise NotFoundError(_("No weather station says where ET0 is to be reckoned: give it."))
    day = daily_weather(
        days_from(told.on, 1),
        tmin_degc=np.array([told.tmin_degc]),
        tmax_degc=np.array([told.tmax_degc]),
    )
    result = reference_et(day, Place(station.latitude_deg, station.elevation_m))
    return float(result.et0_mm[0]), result.methods[0]


@dataclass(frozen=True, slots=True)
class WeekMembers:
    """The days ahead as they may be; `climate` is the same without any forecast."""

    members: WeatherMembers
    climate: WeatherMembers


def week_members(site: Site, at: datetime) -> WeekMembers | None:
    """Draw the coming days, the same all day; None without a past year: 2 queries."""
    today = local_date_of(at, site.zone)
    days = list(recorded_days(site.pk, today))
    if not days:
        return None
    rngs = np.random.default_rng([site.pk, today.toordinal()]).spawn(N_MEMBERS + 1)
    try:
        climate = year_members(climate_of(days), today, WEEK_D, rngs[1:], block_d=WEEK_D)
    except ValueError:
        return None  # the page says that no past year has this week
    return WeekMembers(with_forecast(site.pk, climate, rngs[0]), climate)


def keep_week(*, site_id: int, at: datetime) -> int:
    """Score the weeks whose days have all been recorded, and keep today's forecast.

    Today's follows news until the day is over. Gives how many weeks were scored.
    """
    site = Site.objects.get(pk=site_id)
    with site_write(site_id, at) as write:
        n_scored = _score_weeks(site, at)
        week = week_members(site, at)
        if week is not None and _keep(site, week, at):
            write.touch()
        if n_scored:
            write.touch()
    return n_scored


def _keep(site: Site, week: WeekMembers, at: datetime) -> bool:
    start_on = week.members.start_on
    values = {
        "n_days": WEEK_D,
        "n_days_foretold": forecast_days(site.pk, start_on, WEEK_D).count(),
        "sums_mm": _sums(week.members),
        "climate_sums_mm": _sums(week.climate),
    }
    last = WeekForecast.objects.filter(site=site, start_on=start_on).first()
    if last and all(getattr(last, name) == value for name, value in values.items()):
        return False
    WeekForecast.objects.update_or_create(
        site=site, start_on=start_on, defaults=values | {"made_at": at}
    )
    return True


def _sums(members: WeatherMembers) -> dict[str, list[float]]:
    amounts = {Measure.RAIN: members.rain_mm, Measure.ET0: members.et0_mm}
    return {m.value: np.round(mm.sum(axis=1), 3).tolist() for m, mm in amounts.items()}


def _score_weeks(site: Site, at: datetime) -> int:
    """Score each kept week once, when all of its days have been recorded."""
    today = local_date_of(at, site.zone)
    open_weeks = list(WeekForecast.objects.filter(site=site, scores=None, start_on__lt=today))
    if not open_weeks:
        return 0
    by_day = {day.on: day for day in recorded_days(site.pk, today)}
    scores = []
    for week in open_weeks:
        days = [by_day.get(week.start_on + timedelta(days=n)) for n in range(week.n_days)]
        known = [day for day in days if day is not None]
        if len(known) == week.n_days:
            scores += [_score(week, measure, known) for measure in Measure]
    WeekScore.objects.bulk_create(scores)
    return len(scores) // len(Measure)


def _score(week: WeekForecast, measure: Measure, days: list[WeatherDay]) -> WeekScore:
    came_mm = sum(day.rain_mm if measure == Measure.RAIN else day.et0_mm for day in days)
    members, climate = (np.array(s[measure]) for s in (week.sums_mm, week.climate_sums_mm))
    return WeekScore(
        site_id=week.site_id,
        forecast=week,
        measure=measure,
        came_mm=came_mm,
        mean_mm=float(members.mean()),
        crps_mm=max(crps(members, came_mm), 0.0),  # rounding may leave -1e-16
        climate_crps_mm=max(crps(climate, came_mm), 0.0),
        pit=rank_pit(members, came_mm, np.random.default_rng(week.pk)),
    )
