"""The coming days, need against have, counted by hand on a farm of a few rows."""

from datetime import date, timedelta
from typing import Any

import pytest

from equipment.machines.models import MachineKind, MachinePractice, MeterReading, ServiceItem
from equipment.sandyard.models import SandPractice
from equipment.site.models import HoldSubject, Site
from equipment.site.services import put_hold
from equipment.weather.calc.signs import WeatherSign
from equipment.weather.forecasts import ToldDay, foretell_day
from schedules.outlook.models import OutlookPractice
from schedules.outlook.week import Amounts, Lacks, OutMachine, WeekAhead, week_ahead
from schedules.sand.models import Stage
from tests.factories import (
    make_actor,
    make_batch,
    make_bed_group,
    make_machine,
    make_pen,
    make_shift,
    make_site,
    make_work_order,
    make_worker,
    utc,
)

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 13:00")  # 6:00 am in Denver: three quarters of the day are left
TODAY = date(2026, 3, 4)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
LOADER, SKID = frozenset({"loader"}), frozenset({"skid_loader"})
T = 1000.0


@pytest.fixture
def site() -> Site:
    """100 stalls at 10 kg a day, 2 t to keep back, a driver for 12 h a day."""
    site = make_site()
    SandPractice.objects.create(
        site=site, use_kg_stall_d=10, safety_stock_kg=2 * T, recovery_frac=0.8, recovery_sd_frac=0
    )
    OutlookPractice.objects.create(site=site, use_sd_frac=0, loader_h_d=10)
    MachinePractice.objects.create(site=site, manned_h_d=12)
    make_bed_group(make_pen(site), n_stalls=100)
    return site


def told(site: Site) -> WeekAhead:
    return week_ahead(site, NOW)


def short_min(lacks: Lacks) -> int:
    return sum(lack.short_min for lack in lacks)


def order(site: Site, key: str, day: int, hours: float, **facts: Any) -> None:
    make_work_order(
        site, key, starts_after=NOW + day * DAY + HOUR, duration_min=60 * hours, **facts
    )


def test_hours_of_a_skill_are_short_although_people_are_there(site: Site) -> None:
    """Two shifts of 8 h, of which 75 % are work: 6 h each; loaders ask for 10 h of one driver."""
    make_shift(make_worker(site, "ana", skills=("loader",)), NOW + DAY)
    make_shift(make_worker(site, "ben", skills=("beds",)), NOW + DAY)
    order(site, "a", 1, 10, skill="loader")
    order(site, "b", 1, 1)  # which anybody can do
    week = told(site)

    [everybody, loaders] = week.people
    assert everybody.days[1] == Amounts(660, 720, 0)
    assert loaders.asked == {LOADER}
    assert loaders.days[1] == Amounts(600, 360, 240)
    assert [short_min(lacks) for lacks in week.people_short] == [0, 240, 0, 0, 0, 0, 0]
    assert [lack.asked for lack in week.people_short[1]] == [{LOADER}]


def test_a_held_machine_and_one_in_service_are_not_there(site: Site) -> None:
    machines = [make_machine(site, f"loader-{n}") for n in range(3)]
    skid = make_machine(site, "skid", kind=MachineKind.SKID_LOADER)
    by = make_actor(site)
    put_hold(
        site_id=site.pk,
        subject_kind=HoldSubject.MACHINE,
        subject_id=machines[0].pk,
        reason="brakes",
        by=by,
        at=NOW,
    )
    readings = [(10, 100.0), (0, 130.0)]
    for days_ago, meter_h in readings:
        MeterReading.objects.create(
            site=site, machine=machines[1], read_at=NOW - days_ago * DAY, meter_h=meter_h, by=by
        )
    ServiceItem.objects.create(
        site=site, key="oil", machine=machines[1], every_d=12, duration_min=90, skill="mechanic"
    )
    order(site, "a", 2, 23, machine_kinds=["loader"])
    order(site, "b", 2, 3, machine_kinds=["loader", "skid_loader"])
    week = told(site)

    groups = {group.asked: group.days for group in week.machines}
    assert set(groups) == {frozenset({LOADER}), frozenset({LOADER | SKID})}
    # of two loaders 12 h each, on Friday less 1.5 h of service; three quarters of today
    assert [day.have / 60 for day in groups[frozenset({LOADER})]] == [18, 24, 22.5, 24, 24, 24, 24]
    assert groups[frozenset({LOADER})][2] == Amounts(23 * 60, 22.5 * 60, 30)
    assert groups[frozenset({LOADER | SKID})][2] == Amounts(180, 34.5 * 60, 0)
    assert [short_min(lacks) for lacks in week.machines_short] == [0, 0, 30, 0, 0, 0, 0]
    assert week.out == (
        OutMachine("Loader-0", ()),
        OutMachine("Loader-1", (TODAY + 2 * DAY,)),
    )
    assert skid.name not in {out.name for out in week.out}


def test_ready_sand_is_held_against_the_pens_and_the_safety_stock(site: Site) -> None:
    """4.5 t at 6 am, of which a tonne goes each day, 0.75 t in what is left of today."""
    make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=4.5 * T)
    week = told(site)

    amounts = [(day.need / T, day.have / T, day.short / T) for day in week.sand]
    assert amounts[:4] == [(2.75, 4.5, 0), (3, 3.75, 0), (3, 2.75, 0.25), (3, 1.75, 1.25)]
    assert amounts[5] == (3.25, 0, 3.25)  # a quarter of a tonne is owed since the fifth day


def test_a_farm_whose_beds_take_no_sand_is_not_short_of_it(site: Site) -> None:
    SandPractice.objects.update(use_kg_stall_d=0)
    assert not any(day.is_short for day in told(site).sand)


def test_days_have_the_warnings_of_their_forecast(site: Site) -> None:
    foretell_day(
        site_id=site.pk,
        told=ToldDay(
            on=TODAY + DAY,
            tmin_degc=-2,
            tmax_degc=6,
            rain_chance_frac=0.7,
            rain_mm=4,
            et0_mm=1,
        ),
        source="airport office",
        at=NOW,
    )
    assert told(site).signs[:3] == ((), (WeatherSign.FROST, WeatherSign.RAIN), ())


def test_an_empty_farm_lacks_nothing() -> None:
    week = told(make_site("bare"))
    assert not week.is_anybody_on
    assert len(week.people) == 1
    assert week.machines == ()
    assert not any((*week.people_short, *week.machines_short))
    assert not any(day.is_short for day in week.sand)


def test_it_takes_as_many_queries_for_much_as_for_little(
    site: Site, django_assert_max_num_queries: Any
) -> None:
    for n in range(3):
        make_machine(site, f"loader-{n}")
        order(site, f"a/{n}", n, 2)
        make_shift(make_worker(site, f"ana-{n}"), NOW)
        make_batch(site, Stage.RELEASED, at=NOW - DAY)
    with django_assert_max_num_queries(22):
        told(site)
