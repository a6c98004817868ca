"""The Weather page: a forecast by hand, the fan, what ET0 rests on, heat and scores."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.test import Client

from equipment.weather.calc.days import daily_weather, days_from
from equipment.weather.forecasts import ToldDay as Told
from equipment.weather.forecasts import foretell_day, keep_week
from equipment.weather.models import DayForecast, WeatherDay, WeatherStation
from equipment.weather.services import record_days
from tests.farm import Farm

from .conftest import NOW
from .reading import url, words

pytestmark = pytest.mark.django_db

TODAY = date(2026, 3, 4)


def record_years(farm: Farm, until: date = TODAY) -> None:
    """Two years without rain; only temperatures were measured, and the highest humidity."""
    n = 730
    days = daily_weather(
        days_from(until - timedelta(days=n), n),
        tmin_degc=np.full(n, 0.0),
        tmax_degc=np.full(n, 14.0),
        rain_mm=np.zeros(n),
        rh_max_frac=np.full(n, 0.9),
    )
    record_days(station=WeatherStation.objects.get(site=farm.site), days=days, at=NOW)


FORM = {
    "on": TODAY.isoformat(),
    "tmin": "68",
    "tmax": "104",
    "chance": "50",
    "rain": "0.4",
    "source": "airport office",
}


def test_a_forecast_by_hand_moves_the_fan_and_is_shown_with_its_source(
    farm: Farm, manager: Client
) -> None:
    record_years(farm)
    DayForecast.objects.all().delete()
    before = words(manager.get(url("weather")))
    assert "Nobody has entered one" in before
    assert "8 in 10 from 0.00 in to 0.00 in" in before

    manager.post(url("foretell-day"), FORM)

    made = DayForecast.objects.get()
    assert made.tmax_degc == pytest.approx(40)
    assert made.rain_chance_frac == 0.5
    assert made.rain_mm == pytest.approx(10.16)
    said = words(manager.get(url("weather")))
    assert "50%: 0.40 in if it rains" in said
    assert "airport office" in said
    assert "(estimated from temperatures)" in said
    assert "8 in 10 from 0.00 in to 0.6" in said  # exponential: 0.4 ln 5 = 0.64 in at P90


@pytest.mark.parametrize(
    "wrong", [{"tmin": "110"}, {"chance": "150"}, {"on": "2026-01-01"}, {"on": "x"}, {"source": ""}]
)
def test_a_forecast_that_cannot_be_is_refused(
    farm: Farm, manager: Client, wrong: dict[str, str]
) -> None:
    before = DayForecast.objects.count()
    assert manager.post(url("foretell-day"), FORM | wrong).status_code in (400, 422)
    assert DayForecast.objects.count() == before


def test_a_worker_reads_but_does_not_foretell(farm: Farm, worker: Client) -> None:
    assert worker.post(url("foretell-day"), FORM).status_code == 403
    assert "Enter a forecast" not in words(worker.get(url("weather")))


def test_what_et0_rests_on_is_named_by_day(farm: Farm, manager: Client) -> None:
    record_years(farm)
    assert "partly estimated: radiation, wind" in words(manager.get(url("weather")))


def test_heat_for_people_and_cows_is_warned_of_on_today(farm: Farm, manager: Client) -> None:
    assert "Heat today" not in words(manager.get(url("today")))
    told = Told(TODAY, 20, 40, rain_chance_frac=0, rain_mm=0, et0_mm=8)
    foretell_day(site_id=farm.site.pk, told=told, source="office", at=NOW)
    said = words(manager.get(url("today")))
    assert "Heat today" in said
    assert "Heavy work: extreme caution" in said
    assert "Local law" in said
    assert "severe heat load" in said


def test_scores_of_past_weeks_are_shown(farm: Farm, manager: Client) -> None:
    record_years(farm, TODAY - timedelta(days=8))
    WeatherDay.objects.filter(site=farm.site, on__gte=TODAY - timedelta(days=8)).delete()
    keep_week(site_id=farm.site.pk, at=NOW - timedelta(days=8))
    assert "No forecast week is over" in words(manager.get(url("weather")))
    record_years(farm)
    keep_week(site_id=farm.site.pk, at=NOW)
    assert "Rain 1 " in words(manager.get(url("weather")))
