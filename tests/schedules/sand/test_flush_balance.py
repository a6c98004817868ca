"""The week of flush water and the lanes, as read from a farm's rows."""

import pytest

from equipment.flushing.models import FlushRun, FlushTimer, FlushWater
from equipment.sandyard.models import Lane, SandPractice
from equipment.site.models import Site
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.sand.flush_balance import DAY, water_week
from schedules.sand.lane_capture import gradation_of, lane_captures
from tests.factories import make_alley, make_flush_timer, make_lane, make_site, make_tank, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-06-01 12:00")


@pytest.fixture
def site() -> Site:
    site = make_site()
    SandPractice.objects.create(site=site)
    lane = make_lane(site, length_m=30, width_m=4)
    alley = make_alley(site, drains_to=lane.place)
    timer = make_flush_timer(alley, make_tank(site), times_local=("05:00",))
    for n in range(7):
        add_run(timer, n)
    return site


def add_run(timer: FlushTimer, day: int) -> None:
    starts_at = NOW + day * DAY
    FlushRun.objects.create(
        site=timer.site,
        timer=timer,
        alley=timer.alley,
        natural_key=f"{day}",
        starts_at=starts_at,
        ends_at=starts_at + DAY / 24,
        volume_m3=100,
    )


def test_a_week_of_a_farm_closes_to_zero(site: Site) -> None:
    FlushWater.objects.create(site=site, recycled_level_m3=2000, solids_frac=0.05, fresh_m3_d=2)
    week = water_week(site.pk, NOW)
    assert week.total.flush_m3 == pytest.approx(700)
    assert week.total.solids_m3 == pytest.approx(35)
    assert week.total.rest_m3 == pytest.approx(0, abs=1e-9)
    # The store at 2,000, the tank of 150 full: 35 lost, 14 came in
    assert week.total.start_m3 == pytest.approx(2150)
    assert week.total.end_m3 == pytest.approx(2150 - 35 + 14)
    assert week.n_days == 0


def test_rain_and_evaporation_are_those_of_the_dates_in_past_years(site: Site) -> None:
    FlushWater.objects.create(site=site, recycled_area_m2=1000)
    station = WeatherStation.objects.create(
        site=site, key="yard", name="Yard", latitude_deg=38, longitude_deg=-102, elevation_m=1000
    )
    for on in ("2025-06-01", "2024-06-07", "2025-06-20"):
        WeatherDay.objects.create(
            site=site,
            station=station,
            on=on,
            tmin_degc=5,
            tmax_degc=20,
            rain_mm=3,
            et0_mm=4,
            et0_method="given",
        )
    week = water_week(site.pk, NOW)
    assert week.n_days == 2
    assert week.total.rain_m3 == pytest.approx(7 * 3)
    assert week.total.evaporation_m3 == pytest.approx(7 * 1.05 * 4)


def test_a_lane_with_its_size_tells_what_it_should_catch(site: Site) -> None:
    (found,) = lane_captures(site.pk)
    assert found.flow.flow_m3_s == 0.5
    assert 0 < found.caught.kept_frac <= found.caught.total_frac <= 1
    assert found.cold.total_frac < found.warm.total_frac


def test_a_lane_without_its_size_tells_nothing(site: Site) -> None:
    Lane.objects.update(length_m=None)
    assert lane_captures(site.pk) == []


def test_the_farms_own_sieves_come_before_the_band() -> None:
    own = [1.0, 0.9, 0.8, 0.5, 0.2, 0.1, 0.0]
    assert gradation_of(SandPractice(passing_frac=own)).passing_frac == tuple(own)
    assert gradation_of(SandPractice(sand_kind="c144")).passing_frac[1] == 0.975
