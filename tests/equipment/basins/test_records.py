"""Verbs and reads of basins, on the database."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import IntegrityError, transaction

from equipment.basins.calc.nutrients import Nutrient
from equipment.basins.filling import basins_view
from equipment.basins.models import (
    BasinOutlook,
    BasinPractice,
    FieldApplication,
    FieldWindow,
    HaulTruck,
    LevelReading,
)
from equipment.basins.queries import basins_to_clean, field_views, practice_of
from equipment.basins.services import (
    record_analysis,
    record_application,
    record_clean_out,
    record_level,
    store_outlooks,
    switch_gate,
)
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Site
from equipment.site.services import service_actor
from equipment.weather.models import WeatherDay, WeatherStation
from tests.factories import make_basin, make_crop_field, make_pen, make_site, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
DAY = timedelta(days=1)
SHEET = {"n_kg_t": 10.5, "nh4_n_kg_t": 4.0, "no3_n_kg_t": 0.0, "p2o5_kg_t": 9.0, "k2o_kg_t": 13.0}


def who(site: Site) -> dict[str, Any]:
    return {"site_id": site.pk, "by": service_actor(site.pk), "at": NOW}


def make_weather(site: Site, *, rain_mm: float, days: int = 800) -> None:
    """Two years and more of days that are all alike."""
    station = WeatherStation.objects.create(
        site=site, key="yard", name="Yard", latitude_deg=38, longitude_deg=-102, elevation_m=1000
    )
    WeatherDay.objects.bulk_create(
        WeatherDay(
            site=site,
            station=station,
            on=NOW.date() - n * DAY,
            tmin_degc=2,
            tmax_degc=12,
            rain_mm=rain_mm,
            et0_mm=0,
            et0_method="given",
        )
        for n in range(1, days)
    )


def make_fleet(site: Site) -> None:
    HaulTruck.objects.create(site=site, key="truck", name="Truck", tank_m3=15)
    field = make_crop_field(site)
    FieldWindow.objects.create(
        site=site, key="all", name="All", field=field, first_md="01-01", last_md="12-31"
    )


def test_a_basin_in_the_rain_fills_as_reckoned_by_hand() -> None:
    """10 mm a day on walls: from 0.7 m to 1.7 m in 100 days; 200 mm held back: 80 days."""
    site = make_site()
    basin = make_basin(site, weep_frac_d=0, open_frac=0)
    BasinPractice.objects.create(site=site, storm_mm=200)
    make_weather(site, rain_mm=10)
    record_level(basin_id=basin.pk, depth_m=0.7, **who(site))

    [view] = basins_view(site.pk, NOW).basins

    assert list(view.days_d) == [100, 100, 100]
    assert list(view.days_storm_d or ()) == [80, 80, 80]
    assert view.fan_m is not None
    assert view.fan_m[:, 0] == pytest.approx([0.71] * 3)
    assert np.all(np.diff(view.fan_m[1]) >= 0)


def test_an_older_reading_is_carried_on_by_the_days_recorded_since() -> None:
    site = make_site()
    basin = make_basin(site, weep_frac_d=0, open_frac=0)
    make_weather(site, rain_mm=10)
    record_level(basin_id=basin.pk, depth_m=0.7, **who(site) | {"at": NOW - 10 * DAY})

    [view] = basins_view(site.pk, NOW).basins

    assert list(view.days_d) == [90, 90, 90]
    assert view.days_storm_d is None


def test_a_new_reading_anchors_anew_and_the_old_one_stays() -> None:
    site = make_site()
    basin = make_basin(site, weep_frac_d=0, open_frac=0)
    make_weather(site, rain_mm=10)
    record_level(basin_id=basin.pk, depth_m=0.7, **who(site) | {"at": NOW - 10 * DAY})
    record_level(basin_id=basin.pk, depth_m=1.2, **who(site))

    [view] = basins_view(site.pk, NOW).basins

    assert list(view.days_d) == [50, 50, 50]
    assert LevelReading.objects.count() == 2


def test_without_weather_or_reading_nothing_is_projected() -> None:
    site = make_site()
    basin = make_basin(site)
    record_level(basin_id=make_basin(site, "read").pk, depth_m=1, **who(site))

    views = basins_view(site.pk, NOW).basins

    assert [view.fan_m for view in views] == [None, None]
    assert {view.basin.pk for view in views if view.reading is None} == {basin.pk}


def test_only_the_open_gate_of_a_pair_takes_the_solids() -> None:
    site = make_site()
    make_pen(site, n_cows=100)
    first, second = (make_basin(site, f"b-{n}", pair="west", fills=n == 1) for n in (1, 2))
    make_weather(site, rain_mm=0)
    for basin in (first, second):
        record_level(basin_id=basin.pk, depth_m=0.5, **who(site))

    before = basins_view(site.pk, NOW).basins
    switch_gate(basin_id=second.pk, **who(site))
    after = basins_view(site.pk, NOW).basins

    assert [view.is_filling for view in before] == [True, False]
    assert [view.is_filling for view in after] == [False, True]
    assert before[0].days_d[1] < float("inf") == before[1].days_d[1]
    assert after[1].days_d == before[0].days_d


def test_a_basin_near_its_line_is_told_until_it_is_cleaned_out() -> None:
    site = make_site()
    basin = make_basin(site, weep_frac_d=0, open_frac=0)
    make_weather(site, rain_mm=10)
    make_fleet(site)
    record_level(basin_id=basin.pk, depth_m=1.695, **who(site))

    store_outlooks(site_id=site.pk, at=NOW)
    told = [row.basin_id for row in basins_to_clean(site.pk, NOW.date())]
    done = record_clean_out(basin_id=basin.pk, depth_after_m=0.1, **who(site))
    store_outlooks(site_id=site.pk, at=NOW)

    assert told == [basin.pk]
    assert done.removed_m3 == pytest.approx(400 * 1.595)
    assert basins_to_clean(site.pk, NOW.date()) == []
    assert BasinOutlook.objects.count() == 1


def test_an_application_keeps_what_its_analysis_said() -> None:
    """20 t of 10.5 kg N, 4 kg NH4-N: (6.5 · 0.25 + 4 · 0.66) · 20 = 85.3 kg available."""
    site = make_site()
    basin, field = make_basin(site), make_crop_field(site, area_ha=10)
    BasinPractice.objects.create(site=site, mineralised_frac=0.25, nh4_kept_frac=0.66)
    record_analysis(basin_id=basin.pk, sampled_on=NOW.date(), contents=SHEET, **who(site))
    load = {"field_id": field.pk, "basin_id": basin.pk, "applied_on": NOW.date()}

    applied = record_application(mass_kg=20_000, **load, **who(site))
    by_volume = record_application(volume_m3=applied.volume_m3, **load, **who(site))
    later = SHEET | {"p2o5_kg_t": 1.0}
    record_analysis(basin_id=basin.pk, sampled_on=NOW.date(), contents=later, **who(site))
    [view] = field_views(site.pk, practice_of(site.pk), NOW.date())

    assert applied.available_n_kg == pytest.approx(85.3)
    assert by_volume.mass_kg == pytest.approx(20_000)
    assert view.brought_kg_ha[Nutrient.P] == pytest.approx(2 * 20 * 9 / 10)
    assert view.left_kg_ha[Nutrient.N] == pytest.approx(200 - 2 * 8.53)


def test_phosphate_governs_where_its_rule_applies() -> None:
    site = make_site()
    basin = make_basin(site)
    make_crop_field(site, "p-rule")
    make_crop_field(site, "q-free", is_p_limited=False)
    BasinPractice.objects.create(site=site, mineralised_frac=0.25, nh4_kept_frac=0.66)
    record_analysis(basin_id=basin.pk, sampled_on=NOW.date(), contents=SHEET, **who(site))

    views = field_views(site.pk, practice_of(site.pk), NOW.date())

    assert [v.rates and v.rates.governing for v in views] == [Nutrient.P, Nutrient.N]
    assert views[0].room_kg == pytest.approx(1000 * 100 * 80 / 9)


def test_a_season_begins_anew() -> None:
    site = make_site()
    basin, field = make_basin(site), make_crop_field(site)
    BasinPractice.objects.create(site=site, mineralised_frac=0.25, nh4_kept_frac=0.66)
    sampled_on = date(2025, 8, 1)
    record_analysis(basin_id=basin.pk, sampled_on=sampled_on, contents=SHEET, **who(site))
    for on in (date(2025, 8, 31), date(2025, 9, 1)):
        record_application(
            field_id=field.pk, basin_id=basin.pk, applied_on=on, mass_kg=1000, **who(site)
        )

    [view] = field_views(site.pk, practice_of(site.pk), NOW.date())

    assert (view.n_applications, view.season_from) == (1, date(2025, 9, 1))


def test_what_cannot_be_is_refused_and_leaves_nothing() -> None:
    site = make_site()
    basin, field = make_basin(site), make_crop_field(site)
    load = {"field_id": field.pk, "basin_id": basin.pk, "applied_on": NOW.date()}

    with pytest.raises(InvalidInputError, match="between the floor and the rim"):
        record_level(basin_id=basin.pk, depth_m=2.1, **who(site))
    with pytest.raises(InvalidInputError, match="takes turns with no other"):
        switch_gate(basin_id=basin.pk, **who(site))
    with pytest.raises(InvalidInputError, match="analysis first"):
        record_application(mass_kg=1, **load, **who(site))
    with pytest.raises(InvalidInputError, match="no more than total nitrogen"):
        record_analysis(
            basin_id=basin.pk,
            sampled_on=NOW.date(),
            contents=SHEET | {"nh4_n_kg_t": 11.0},
            **who(site),
        )
    record_analysis(basin_id=basin.pk, sampled_on=NOW.date(), contents=SHEET, **who(site))
    with pytest.raises(InvalidInputError, match="availability factors"):
        record_application(mass_kg=1, **load, **who(site))
    BasinPractice.objects.create(site=site, mineralised_frac=0.25, nh4_kept_frac=0.66)
    amounts: list[dict[str, Any]] = [{}, {"mass_kg": 0.0}, {"mass_kg": 1.0, "volume_m3": 1.0}]
    for amount in amounts:
        with pytest.raises(InvalidInputError):
            record_application(**amount, **load, **who(site))
    assert not FieldApplication.objects.exists()
    assert not LevelReading.objects.exists()


def test_another_farms_basin_is_not_found() -> None:
    ours, theirs = make_site(), make_site("theirs")
    with pytest.raises(NotFoundError):
        record_level(basin_id=make_basin(theirs).pk, depth_m=1, **who(ours))


@pytest.mark.parametrize(
    "wrong", [{"first_md": "13-01"}, {"last_md": "1-5"}, {"first_md": "02-32"}]
)
def test_the_database_refuses_a_window_of_no_days(wrong: dict[str, str]) -> None:
    site = make_site()
    days = {"first_md": "03-01", "last_md": "04-01", **wrong}
    field = make_crop_field(site)
    with pytest.raises(IntegrityError), transaction.atomic():
        FieldWindow.objects.create(site=site, key="w", name="W", field=field, **days)
