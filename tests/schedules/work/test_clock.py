"""Work by hours since it was last done, and by the weather."""

from datetime import date, timedelta
from typing import Any

import pytest

from equipment.site.models import PlaceKind, Site
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.work.models import (
    LateRule,
    StandingOrder,
    Trigger,
)
from schedules.work.reconcile import Counts
from tests.factories import (
    make_place,
    make_standing_order,
    utc,
)

from .passes import NOW, close_order, keys, open_order, rows, run_at

pytestmark = pytest.mark.django_db


# --- hours since


@pytest.fixture
def round_order(site: Site) -> StandingOrder:
    make_place(site, "farm", PlaceKind.SITE)
    return make_standing_order(
        site, "round", trigger=Trigger.HOURS_SINCE, rule={"hours": 100, "window_h": 10}
    )


def test_what_was_never_done_is_due_at_once_and_foreseen_after(
    site: Site, round_order: StandingOrder
) -> None:
    run_at(site)
    assert keys() == ["round/farm/1", "round/farm/2", "round/farm/3", "round/farm/4"]
    first, second, *_rest = rows()
    assert first.starts_after == NOW
    assert second.starts_after == utc("2026-03-08 17:00")  # 100 h after the next full hour
    assert run_at(site) == Counts()


def test_hours_are_counted_from_the_completion(site: Site, round_order: StandingOrder) -> None:
    run_at(site)
    done_at = NOW + timedelta(hours=7)
    close_order(rows()[0], done_at)
    assert run_at(site, done_at).n_moved == 3
    assert rows()[1].starts_after == done_at + timedelta(hours=100)


def test_elapsed_hours_pass_the_spring_night_unchanged(
    site: Site, round_order: StandingOrder
) -> None:
    """8 March 2026 has 23 hours in Denver; a hundred hours are a hundred hours."""
    run_at(site)
    done_at = utc("2026-03-06 12:00")  # 05:00 MST
    close_order(rows()[0], done_at)
    run_at(site, done_at)
    assert rows()[1].starts_after == utc("2026-03-10 16:00")  # 10:00 MDT: 101 h on the wall


def test_a_missed_turn_is_followed_by_the_next(site: Site, round_order: StandingOrder) -> None:
    run_at(site, days=1)
    later = NOW + timedelta(hours=11)
    assert run_at(site, later, days=1).n_missed == 1
    run_at(site, later, days=5)
    assert open_order().natural_key == "round/farm/2"
    assert open_order().starts_after == NOW + timedelta(hours=100)


def test_foreseen_turns_behind_an_overdue_one_move_once_an_hour(site: Site) -> None:
    make_place(site, "farm", PlaceKind.SITE)
    late = LateRule.RUN_ONCE
    make_standing_order(site, "round", trigger=Trigger.HOURS_SINCE, late_rule=late)
    run_at(site, days=3)
    run_at(site, NOW + timedelta(hours=5, minutes=1), days=3)
    assert run_at(site, NOW + timedelta(hours=5, minutes=50), days=3) == Counts()


# --- weather


def _weather(site: Site, on: str, **facts: float) -> None:
    station = WeatherStation.objects.get_or_create(
        site=site, key="mast", defaults={"latitude_deg": 38, "longitude_deg": 0, "elevation_m": 0}
    )[0]
    usual = {"tmin_degc": 0, "tmax_degc": 20, "rain_mm": 0, "et0_mm": 3, "et0_method": "test"}
    WeatherDay.objects.create(site=site, station=station, on=on, **{**usual, **facts})


def _watch(site: Site, **rule: Any) -> None:
    make_place(site, "farm", PlaceKind.SITE)
    make_standing_order(
        site,
        "watch",
        trigger=Trigger.WEATHER,
        rule={"at_least": None, **rule},
        target={"kind": "site"},
    )


def test_rain_asks_for_a_look_the_morning_after_on_the_days_that_pass(site: Site) -> None:
    for day, rain_mm in ((3, 12.9), (4, 13), (5, 40)):
        _weather(site, f"2026-03-0{day}", rain_mm=rain_mm)
    _watch(site, at_least=13)
    run_at(site)
    assert keys() == ["watch/farm/2026-03-04", "watch/farm/2026-03-05"]
    assert rows()[0].starts_after == utc("2026-03-05 14:00")  # 07:00 local
    assert rows()[0].local_date == date(2026, 3, 5)


def test_frost_asks_on_the_day_itself(site: Site) -> None:
    _weather(site, "2026-03-05", tmin_degc=-15)
    _watch(site, measure="tmin_degc", at_most=-12)
    run_at(site)
    assert [row.local_date for row in rows()] == [date(2026, 3, 5)]


def test_weather_that_is_corrected_takes_its_work_back(site: Site) -> None:
    _weather(site, "2026-03-05", rain_mm=40)
    _watch(site, at_least=13)
    run_at(site)
    WeatherDay.objects.update(rain_mm=4)
    assert run_at(site) == Counts(n_cancelled=1)
