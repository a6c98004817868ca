"""Forecasts in the database: made of recorded weather, narrowed by tests, kept as they were."""

from datetime import date, timedelta

import numpy as np
import pytest

from equipment.site.models import Change
from equipment.weather.calc.generator import generate_weather
from equipment.weather.models import WeatherDay, WeatherStation
from equipment.weather.queries import recorded_days
from schedules.sand import forecasts
from schedules.sand import services as sand
from schedules.sand.forecasts import WhyNone, forecast_all
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import DryForecast
from schedules.sand.queries import sand_stock
from tests.schedules.sand.test_services import DAY, NOW, Yard

pytestmark = pytest.mark.django_db

YEARS = 6


@pytest.fixture
def yard() -> Yard:
    return Yard()


def record_weather(
    yard: Yard, *, until: date, station_key: str = "home", n_days: int = 365 * YEARS
) -> WeatherStation:
    """Invented years, six if not said otherwise, up to the day before a date."""
    station = WeatherStation.objects.create(
        site=yard.site,
        key=station_key,
        name=station_key,
        latitude_deg=38.6,
        longitude_deg=-102.4,
        elevation_m=1190,
    )
    first = until - timedelta(days=n_days)
    weather = generate_weather(first, n_days, np.random.default_rng(7))
    rng = np.random.default_rng(8)
    WeatherDay.objects.bulk_create(
        WeatherDay(
            site=yard.site,
            station=station,
            on=first + timedelta(days=n),
            tmin_degc=weather.tmin_degc[n],
            tmax_degc=weather.tmax_degc[n],
            rain_mm=weather.rain_mm[n],
            et0_mm=float(rng.uniform(2, 7)),
            et0_method="given",
        )
        for n in range(n_days)
    )
    return station


def _forecast(yard: Yard, days: float) -> DryForecast:
    forecast_all(site_id=yard.site.pk, at=NOW + days * DAY)
    latest = DryForecast.objects.order_by("made_at", "id").last()
    assert latest is not None
    return latest


def test_without_weather_nothing_is_forecast_and_nothing_invented(yard: Yard) -> None:
    yard.drying()
    assert forecast_all(site_id=yard.site.pk, at=NOW + 3 * DAY) == 0
    assert not DryForecast.objects.exists()


def test_why_there_is_no_forecast_is_told(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch, at = yard.drying(), NOW + 4 * DAY
    assert forecasts.why_none(yard.site, at) == {batch.pk: WhyNone.NO_WEATHER}
    record_weather(yard, until=date(2026, 3, 8), n_days=200)
    assert forecasts.why_none(yard.site, at) == {batch.pk: WhyNone.NO_PAST_YEAR}
    record_weather(yard, until=date(2025, 8, 20), station_key="old")
    assert forecasts.why_none(yard.site, at) == {}
    twice = [*WeatherDay.objects.order_by("on")[:400]] * 2
    monkeypatch.setattr(forecasts, "recorded_days", lambda *_args: twice)
    assert forecasts.why_none(yard.site, at) == {batch.pk: WhyNone.BAD_SERIES}
    assert forecast_all(site_id=yard.site.pk, at=at) == 0  # and not a run that fails


def test_of_two_stations_the_first_counts_and_the_next_fills_its_gaps(yard: Yard) -> None:
    home = record_weather(yard, until=date(2026, 3, 8))
    yard.drying()
    alone = _forecast(yard, 4)
    far = record_weather(yard, until=date(2026, 3, 8), station_key="far")
    WeatherDay.objects.filter(station=far).update(rain_mm=30)
    assert _forecast(yard, 4).pk == alone.pk

    WeatherDay.objects.filter(station=home, on=date(2026, 3, 7)).delete()
    days = {day.on: day for day in recorded_days(yard.site.pk, date(2026, 3, 8))}
    assert len(days) == 365 * YEARS
    assert {on for on, day in days.items() if day.station_id == far.pk} == {date(2026, 3, 7)}
    assert _forecast(yard, 4).dots != alone.dots
    WeatherStation.objects.filter(pk=home.pk).update(retired_at=NOW)
    assert {d.station_id for d in recorded_days(yard.site.pk, date(2026, 3, 8))} == {far.pk}


def test_days_nobody_recorded_are_not_taken_as_the_last_recorded_one(yard: Yard) -> None:
    """Thirteen unknown days after a storm are like those of past years, not thirteen storms."""
    record_weather(yard, until=date(2026, 3, 7))
    yard.drying()
    dry_on: list[date] = []
    for rain_mm in (0, 25):
        WeatherDay.objects.filter(on=date(2026, 3, 6)).update(rain_mm=rain_mm)
        row = _forecast(yard, 16)
        assert row.detail["n_days_filled"] == 13
        assert row.dry_on_p50 is not None
        dry_on.append(row.dry_on_p50)
    assert dry_on[1] - dry_on[0] <= timedelta(days=3)


def test_the_moisture_expected_tonight_is_kept_with_its_day(yard: Yard) -> None:
    record_weather(yard, until=date(2026, 3, 8))
    yard.drying()
    detail = _forecast(yard, 4).detail
    low, likely, high = detail["moisture_wb_frac"]
    assert detail["moisture_on"] == "2026-03-08"
    assert 0 < low <= likely <= high < 0.15


def test_a_batch_on_a_pad_gets_dates_in_order_and_twenty_chances(yard: Yard) -> None:
    record_weather(yard, until=date(2026, 3, 8))
    yard.drying()
    row = _forecast(yard, 4)
    assert row.dry_on_p10 is not None
    assert row.dry_on_p50 is not None
    assert row.dry_on_p10 <= row.dry_on_p50
    assert row.ready_on_p50 is not None
    assert row.ready_on_p50 - row.dry_on_p50 >= timedelta(days=60)
    assert len(row.dots) == 20
    assert row.detail["imbalance_mm"] < 1e-6
    assert Change.objects.filter(topic="batch.forecast").count() == 1


def test_the_same_forecast_again_is_not_stored_again(yard: Yard) -> None:
    record_weather(yard, until=date(2026, 3, 8))
    yard.drying()
    first = _forecast(yard, 4)
    assert _forecast(yard, 4).pk == first.pk


def test_a_moisture_test_moves_the_dates(yard: Yard) -> None:
    record_weather(yard, until=date(2026, 3, 8))
    batch = yard.drying()
    before = _forecast(yard, 4)
    sand.add_moisture_test(
        batch_id=batch.pk, moisture_frac=0.09, basis="wb", n_spots=8, **yard.who(4)
    )
    after = _forecast(yard, 4)
    assert after.pk != before.pk
    assert after.dots != before.dots
    assert DryForecast.objects.count() == 2  # what was said before stays


def test_days_of_sand_count_released_sand_above_the_safety_stock(yard: Yard) -> None:
    batch = yard.released()
    # No beds and nothing bedded yet: no use, so it lasts without end.
    unused = sand_stock(yard.site.pk, NOW + 80 * DAY)
    assert (unused.left.days.likely, unused.days_d) == (float("inf"), None)
    yard.bed(batch, 1_400)  # 100 kg a day over the two weeks looked at
    left_kg = sand.find_batch(yard.site.pk, batch.pk)
    days = sand_stock(yard.site.pk, NOW + 80 * DAY + timedelta(hours=1)).left.days.likely
    assert days == pytest.approx(batch_mass_kg(left_kg) / 100)
