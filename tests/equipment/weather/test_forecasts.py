"""Forecasts of coming days: told by a person, drawn from past years, kept and scored."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from equipment.site.calc.scores import crps
from equipment.site.errors import DomainError
from equipment.site.models import Change, Site
from equipment.weather.calc.days import daily_weather, days_from
from equipment.weather.forecasts import (
    WEEK_D,
    ToldDay,
    foretell_day,
    keep_week,
    week_members,
)
from equipment.weather.models import (
    DayForecast,
    Measure,
    WeatherDay,
    WeatherStation,
    WeekForecast,
    WeekScore,
)
from equipment.weather.queries import forecast_days, week_records
from equipment.weather.services import record_days
from tests.factories import make_site, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-07-01 16:00")
TODAY = date(2026, 7, 1)
WET = ToldDay(TODAY, tmin_degc=14, tmax_degc=24, rain_chance_frac=1, rain_mm=40, et0_mm=2.0)


@pytest.fixture
def site() -> Site:
    """Four years of days that never saw rain, each with 6 mm of ET0."""
    made = make_site()
    station = WeatherStation.objects.create(
        site=made,
        key="yard",
        name="Yard",
        latitude_deg=38.6,
        longitude_deg=-102.4,
        elevation_m=1190,
    )
    record(station, TODAY - timedelta(days=4 * 365), 4 * 365)
    return made


def record(station: WeatherStation, first: date, n_days: int, rain_mm: float = 0.0) -> None:
    days = daily_weather(
        days_from(first, n_days),
        tmin_degc=np.full(n_days, 15.0),
        tmax_degc=np.full(n_days, 33.0),
        rain_mm=np.full(n_days, rain_mm),
        et0_mm=np.full(n_days, 6.0),
    )
    record_days(station=station, days=days, at=NOW)


def tell(site: Site, told: ToldDay = WET, **when: object) -> DayForecast:
    return foretell_day(site_id=site.pk, told=told, source="by hand", at=when.get("at", NOW))  # type: ignore[arg-type]


def test_members_follow_what_is_foretold_and_the_climate_after_it(site: Site) -> None:
    tell(site, replace(WET, on=TODAY + timedelta(days=1)))
    week = week_members(site, NOW)
    assert week is not None
    assert week.members.rain_mm[:, 1].mean() == pytest.approx(40, rel=0.02)
    assert week.members.et0_mm[:, 1].mean() == pytest.approx(2.0, abs=0.01)
    others = [0, 2, 3, 4, 5, 6]
    assert (week.members.rain_mm[:, others] == 0).all()
    assert (week.climate.rain_mm == 0).all()


def test_the_newest_word_on_a_day_counts_and_rooms_above_hear_of_it(site: Site) -> None:
    tell(site)
    tell(site, replace(WET, rain_mm=3), at=NOW + timedelta(hours=1))
    [last] = forecast_days(site.pk, TODAY, WEEK_D)
    assert last.rain_mm == 3
    assert DayForecast.objects.count() == 2
    assert Change.objects.filter(topic="weather.foretold").count() == 2


def test_et0_that_nobody_gives_is_reckoned_from_temperatures_and_named_so(site: Site) -> None:
    made = tell(site, replace(WET, et0_mm=None))
    assert made.et0_method == "temperatures_only"
    assert 2 < made.et0_mm < 8
    assert made.et0_sd_mm == pytest.approx(made.et0_mm / 4)


@pytest.mark.parametrize(
    "told",
    [
        replace(WET, on=TODAY - timedelta(days=1)),
        replace(WET, on=TODAY + timedelta(days=16)),
        replace(WET, tmin_degc=30),
        replace(WET, tmax_degc=95),
        replace(WET, rain_chance_frac=60),
        replace(WET, rain_mm=501),
        replace(WET, et0_mm=-1),
        replace(WET, tmax_degc=float("nan")),
    ],
)
def test_a_day_that_cannot_be_is_refused(site: Site, told: ToldDay) -> None:
    with pytest.raises(DomainError):
        tell(site, told)
    assert not DayForecast.objects.exists()


def test_a_week_is_kept_once_a_day_and_scored_once_when_its_days_are_over(site: Site) -> None:
    tell(site)
    assert keep_week(site_id=site.pk, at=NOW) == 0
    keep_week(site_id=site.pk, at=NOW + timedelta(hours=2))
    kept = WeekForecast.objects.get()
    assert (kept.start_on, kept.n_days_foretold) == (TODAY, 1)
    after = NOW + timedelta(days=WEEK_D)
    assert keep_week(site_id=site.pk, at=after) == 0  # nobody has recorded the days

    record(WeatherStation.objects.get(), TODAY, WEEK_D, rain_mm=5)
    assert keep_week(site_id=site.pk, at=after) == 1
    assert keep_week(site_id=site.pk, at=after) == 0

    score = WeekScore.objects.get(measure=Measure.RAIN)
    assert score.forecast == kept
    assert score.came_mm == 35
    assert score.crps_mm == pytest.approx(crps(np.array(kept.sums_mm["rain"]), 35))
    assert score.climate_crps_mm == 35  # every past year was dry: one certain, wrong value
    assert score.crps_mm < score.climate_crps_mm
    rain, et0 = week_records(site.pk)
    assert (rain.measure, rain.n_forecasts) == (Measure.RAIN, 1)
    assert rain.bias_mm == pytest.approx(score.mean_mm - 35)
    assert et0.bias_mm == pytest.approx(2.0 - 6.0, abs=0.01)


def test_a_forecast_told_later_the_same_day_takes_the_place_of_the_first(site: Site) -> None:
    keep_week(site_id=site.pk, at=NOW)
    tell(site)
    keep_week(site_id=site.pk, at=NOW + timedelta(hours=2))
    assert WeekForecast.objects.get().n_days_foretold == 1


def test_without_a_past_year_nothing_is_foretold(site: Site) -> None:
    WeatherDay.objects.filter(on__lt=TODAY - timedelta(days=5)).delete()
    assert week_members(site, NOW) is None
    assert keep_week(site_id=site.pk, at=NOW) == 0
    assert not WeekForecast.objects.exists()
    WeatherDay.objects.all().delete()
    assert week_members(site, NOW) is None


def test_what_is_estimated_is_stored_with_the_day(site: Site) -> None:
    days = daily_weather(
        days_from(TODAY, 1),
        tmin_degc=np.array([15.0]),
        tmax_degc=np.array([33.0]),
        rain_mm=np.array([0.0]),
        rh_max_frac=np.array([0.8]),
    )
    record_days(station=WeatherStation.objects.get(), days=days, at=NOW)
    day = WeatherDay.objects.get(on=TODAY)
    assert (day.et0_method, day.et0_estimated) == ("partly_estimated", "solar,wind")
