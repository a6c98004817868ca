"""Each trigger but the calendar's and the visit's: what it makes, moves and takes back."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from equipment.machines.models import Machine, MeterReading, ServiceItem, ServiceRecord
from equipment.sandyard.models import Bay, Pad, SandPractice
from equipment.site.models import HoldSubject, Place, PlaceKind, Site
from equipment.site.services import put_hold
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.sand.models import Batch, BatchStep, DryForecast, MoistureTest, Stage
from schedules.work.models import (
    Dependency,
    LateRule,
    Outcome,
    Report,
    StandingOrder,
    Status,
    Trigger,
    WorkOrder,
)
from schedules.work.produce import materialise
from schedules.work.reconcile import Counts
from tests.factories import (
    make_actor,
    make_machine,
    make_pen,
    make_place,
    make_site,
    make_standing_order,
    utc,
)

NOW = utc("2026-03-04 12:00")  # 05:00 in Denver

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make_site()


def _run(site: Site, now: datetime = NOW, days: int = 14, **narrow: Any) -> Counts:
    return materialise(site_id=site.pk, now=now, days=days, **narrow)


def _rows(**only: Any) -> list[WorkOrder]:
    return list(WorkOrder.objects.filter(**only).order_by("starts_after", "natural_key"))


def _keys() -> list[str]:
    return [row.natural_key for row in _rows()]


def _open() -> WorkOrder:
    return WorkOrder.objects.get(status=Status.NEEDS_ACTION)


def _close(row: WorkOrder, at: datetime, outcome: Outcome = Outcome.DONE) -> None:
    is_done = outcome in (Outcome.DONE, Outcome.PART)
    row.status = Status.COMPLETED if is_done else Status.CANCELLED
    row.outcome, row.ended_at = outcome, at
    row.save()


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
    _run(site)
    assert _keys() == ["round/farm/1", "round/farm/2", "round/farm/3", "round/farm/4"]
    first, second, *_rest = _rows()
    assert first.starts_after == NOW
    assert second.starts_after == utc("2026-03-08 17:00")  # 100 h after the next full hour
    assert _run(site) == Counts()


def test_hours_are_counted_from_the_completion(site: Site, round_order: StandingOrder) -> None:
    _run(site)
    done_at = NOW + timedelta(hours=7)
    _close(_rows()[0], done_at)
    assert _run(site, done_at).n_moved == 3
    assert _rows()[1].starts_after == done_at + timedelta(hours=100)


def test_elapsed_hours_pass_the_spring_night_unchanged(
    site: Site, round_order: StandingOrder
) -> None:
    """8 March 2026 has 23 hours in Denver; a hundred hours are a hundred hours."""
    _run(site)
    done_at = utc("2026-03-06 12:00")  # 05:00 MST
    _close(_rows()[0], done_at)
    _run(site, done_at)
    assert _rows()[1].starts_after == utc("2026-03-10 16:00")  # 10:00 MDT: 101 h on the wall


def test_a_missed_turn_is_followed_by_the_next(site: Site, round_order: StandingOrder) -> None:
    _run(site, days=1)
    later = NOW + timedelta(hours=11)
    assert _run(site, later, days=1).n_missed == 1
    _run(site, later, days=5)
    assert _open().natural_key == "round/farm/2"
    assert _open().starts_after == NOW + timedelta(hours=100)


def test_foreseen_turns_behind_an_overdue_one_move_once_an_hour(site: Site) -> None:
    make_place(site, "farm", PlaceKind.SITE)
    late = LateRule.RUN_ONCE
    make_standing_order(site, "round", trigger=Trigger.HOURS_SINCE, late_rule=late)
    _run(site, days=3)
    _run(site, NOW + timedelta(hours=5, minutes=1), days=3)
    assert _run(site, NOW + timedelta(hours=5, minutes=50), days=3) == Counts()


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
    _run(site)
    assert _keys() == ["watch/farm/2026-03-04", "watch/farm/2026-03-05"]
    assert _rows()[0].starts_after == utc("2026-03-05 14:00")  # 07:00 local
    assert _rows()[0].local_date == date(2026, 3, 5)


def test_frost_asks_on_the_day_itself(site: Site) -> None:
    _weather(site, "2026-03-05", tmin_degc=-15)
    _watch(site, measure="tmin_degc", at_most=-12)
    _run(site)
    assert [row.local_date for row in _rows()] == [date(2026, 3, 5)]


def test_weather_that_is_corrected_takes_its_work_back(site: Site) -> None:
    _weather(site, "2026-03-05", rain_mm=40)
    _watch(site, at_least=13)
    _run(site)
    WeatherDay.objects.update(rain_mm=4)
    assert _run(site) == Counts(n_cancelled=1)


# --- batches


@pytest.fixture
def slab(site: Site) -> Place:
    return make_place(site, "slab", PlaceKind.SLAB)


@pytest.fixture
def bay(site: Site) -> Place:
    pad = Pad.objects.create(site=site, place=make_place(site, "pad", PlaceKind.PAD))
    place = make_place(site, "bay-1", PlaceKind.BAY)
    Bay.objects.create(site=site, place=place, pad=pad, area_m2=600, capacity_kg=240_000)
    return place


def _batch(place: Place, stage: Stage, since: datetime = NOW, **facts: Any) -> Batch:
    usual = {
        "number": Batch.objects.count() + 1,
        "opened_at": since,
        "closed_at": since,
        "moisture_wb_frac": 0.12,
        "cure_d": 60,
    }
    return Batch.objects.create(
        site=place.site, place=place, stage=stage, stage_since=since, **{**usual, **facts}
    )


def _step(site: Site, key: str, **rule: Any) -> StandingOrder:
    return make_standing_order(
        site, key, trigger=Trigger.BATCH_STAGE, rule={"after_h": None, **rule}, target={}
    )


TURNS = {"times_per_d": 2, "from_local": "09:30", "until_local": "16:00", "window_h": None}
DRYING = {"stage": "drying"}


def _forecast(batch: Batch, dry_on: str, made_at: datetime = NOW) -> None:
    DryForecast.objects.create(
        site=batch.site,
        batch=batch,
        made_at=made_at,
        n_members=20,
        dry_on_p50=dry_on,
        et0_method="test",
    )


def test_a_step_falls_due_so_many_hours_after_its_stage_began(site: Site, slab: Place) -> None:
    batch = _batch(slab, Stage.DRAINING, number=12)
    _step(site, "spread", after_h=36)
    _run(site)
    order = _open()
    assert (order.natural_key, order.batch_step) == ("spread/batch-12/1", "spread")
    assert (order.batch_id, order.place_id) == (batch.pk, slab.pk)
    assert order.starts_after == NOW + timedelta(hours=36)
    assert _run(site) == Counts()


def test_a_batch_that_is_still_being_filled_is_not_spread(site: Site, slab: Place) -> None:
    _batch(slab, Stage.DRAINING, closed_at=None)
    _step(site, "spread", after_h=36)
    assert _run(site) == Counts()


def test_a_step_waits_however_late_until_the_batch_moves_on(site: Site, slab: Place) -> None:
    batch = _batch(slab, Stage.DRAINING, NOW - timedelta(days=9))
    _step(site, "spread", after_h=36)
    _run(site)
    assert _open().due_at > NOW
    batch.stage = Stage.DRYING
    batch.save()
    assert _run(site) == Counts(n_cancelled=1)
    assert _rows()[0].reason == "batch_moved_on"


def test_a_bay_is_turned_so_often_a_day_until_it_is_expected_dry(site: Site, bay: Place) -> None:
    batch = _batch(bay, Stage.DRYING, number=3)  # since 05:00 local
    _forecast(batch, "2026-03-06")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    _run(site)
    assert _keys() == [f"turn/batch-3/{n}" for n in range(1, 7)]
    first, second = _rows()[:2]
    assert (first.starts_after, first.due_at) == (utc("2026-03-04 16:30"), utc("2026-03-04 19:45"))
    assert second.starts_after == first.due_at


def test_a_better_forecast_takes_turnings_back_and_a_worse_one_brings_them(
    site: Site, bay: Place
) -> None:
    batch = _batch(bay, Stage.DRYING)
    _forecast(batch, "2026-03-07")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    assert _run(site).n_made == 8
    _forecast(batch, "2026-03-05", NOW + timedelta(hours=1))
    assert _run(site) == Counts(n_cancelled=4)
    _forecast(batch, "2026-03-06", NOW + timedelta(hours=2))
    assert _run(site) == Counts(n_revived=2)


def test_a_turning_nobody_came_to_is_missed(site: Site, bay: Place) -> None:
    _batch(bay, Stage.DRYING)
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    _run(site, days=1)
    assert _run(site, utc("2026-03-04 20:00"), days=1).n_missed == 1


def test_pickup_follows_the_forecast_and_waits_on_the_test(site: Site, bay: Place) -> None:
    batch = _batch(bay, Stage.DRYING)
    _forecast(batch, "2026-03-09")
    _step(site, "pile", step="piled", when="dry", at_local="12:00", **DRYING)
    _step(site, "test", step="tested", when="dry", at_local="09:00", **DRYING)
    _run(site)
    pile, test = (WorkOrder.objects.get(batch_step=step) for step in ("piled", "tested"))
    assert pile.starts_after == utc("2026-03-09 18:00")  # noon, summer time
    need = Dependency.objects.get()
    assert (need.work_order, need.on, need.relation) == (pile, test, "FINISHTOSTART")
    _forecast(batch, "2026-03-11", NOW + timedelta(hours=1))
    assert _run(site) == Counts(n_moved=2)


def test_a_test_that_was_made_closes_its_order_and_a_wet_one_asks_again(
    site: Site, bay: Place
) -> None:
    SandPractice.objects.create(site=site, dry_moisture_wb_frac=0.05)
    batch, ana = _batch(bay, Stage.DRYING), make_actor(site, "ana")
    _forecast(batch, "2026-03-04")
    _step(site, "test", step="tested", when="dry", **DRYING)
    _step(site, "pile", step="piled", when="dry", **DRYING)
    _run(site)
    test = {"site": site, "batch": batch, "given_basis": "wb", "by": ana}
    tested_at = utc("2026-03-04 16:00")
    MoistureTest.objects.create(taken_at=tested_at, moisture_wb_frac=0.09, **test)
    _run(site, tested_at)
    first, second = _rows(batch_step="tested")
    assert (first.outcome, first.ended_at, first.ended_by) == (Outcome.DONE, tested_at, ana)
    assert second.natural_key == "test/batch-1/2"
    pile = WorkOrder.objects.get(batch_step="piled")
    assert list(pile.needs.values_list("on_id", flat=True)) == [second.pk]
    dry_at = tested_at + timedelta(hours=20)
    MoistureTest.objects.create(taken_at=dry_at, moisture_wb_frac=0.04, **test)
    _run(site, dry_at)
    assert [row.status for row in _rows(batch_step="tested")] == [Status.COMPLETED] * 2


def test_a_step_told_on_the_sand_page_closes_its_order_once(site: Site, bay: Place) -> None:
    batch, ana = _batch(bay, Stage.DRYING), make_actor(site, "ana")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    _run(site, days=2)
    at = utc("2026-03-04 17:00")
    BatchStep.objects.create(site=site, batch=batch, kind="turned", at=at, by=ana)
    for _again in range(2):
        _run(site, at, days=1)
    first, second, *_rest = _rows()
    assert (first.outcome, first.ended_by) == (Outcome.DONE, ana)
    assert second.status == Status.NEEDS_ACTION
    assert Report.objects.get().kind == "done"


def test_only_the_oldest_released_pile_that_is_not_held_is_bedded_from(
    site: Site, bay: Place
) -> None:
    ana = make_actor(site, "ana")
    other = make_place(site, "pile-2", PlaceKind.PILE_PLACE)
    for number, (place, days) in enumerate(((bay, 3), (other, 5)), start=1):
        at = NOW - timedelta(days=days)
        _batch(place, Stage.RELEASED, at, number=number, released_by=ana, released_at=at)
    _step(site, "deliver", stage="released", step="bedded", **{**TURNS, "times_per_d": 1})
    _run(site, days=1)
    assert _keys() == ["deliver/batch-2/6"]
    oldest = Batch.objects.get(number=2)
    put_hold(
        site_id=site.pk,
        subject_kind=HoldSubject.BATCH,
        subject_id=oldest.pk,
        reason="smells",
        by=ana,
        at=NOW,
    )
    assert _run(site, days=1) == Counts(n_made=1, n_cancelled=1)
    assert _open().natural_key == "deliver/batch-1/4"


def test_a_pile_is_closed_after_its_days_and_called_cured_on_its_date(
    site: Site, bay: Place
) -> None:
    pile = _batch(bay, Stage.CURING, closed_at=None, number=7)
    _step(site, "close", stage="curing", step="pile_closed", after_d=8, at_local="13:00")
    _step(site, "cured", stage="curing", step="cured", when="ready", at_local="08:00")
    _run(site)
    assert _keys() == ["close/batch-7/1"]
    assert _open().starts_after == utc("2026-03-12 19:00")
    pile.closed_at = pile.stage_since = NOW + timedelta(hours=1)
    pile.ready_on = date(2026, 3, 14)
    pile.save()
    assert _run(site) == Counts(n_made=1, n_cancelled=1)
    assert _open().starts_after == utc("2026-03-14 14:00")


# --- meters


def _read(machine: Machine, days_ago: float, meter_h: float) -> None:
    MeterReading.objects.create(
        site=machine.site,
        machine=machine,
        read_at=NOW - timedelta(days=days_ago),
        meter_h=meter_h,
        by=make_actor(machine.site, f"reader-{meter_h}"),
    )


@pytest.fixture
def loader(site: Site) -> Machine:
    """Runs 10 h a day; its oil is due at 2,250 h, in five days."""
    machine = make_machine(site)
    for days_ago in range(20, -1, -5):
        _read(machine, days_ago, 2200 - 10 * days_ago)
    item = ServiceItem.objects.create(
        site=site,
        key="oil",
        name="Oil",
        title={"en": "Change the oil"},
        machine_kind=machine.kind,
        every_h=250,
        duration_min=150,
        skill="mechanic",
    )
    _record(machine, item, 20, cycle=1)
    return machine


def _record(machine: Machine, item: ServiceItem, days_ago: float, cycle: int) -> None:
    ServiceRecord.objects.create(
        site=machine.site,
        machine=machine,
        item=item,
        cycle=cycle,
        done_at=NOW - timedelta(days=days_ago),
        meter_h=2000,
        by=make_actor(machine.site, f"mechanic-{cycle}"),
    )


def _service(site: Site, **rule: Any) -> StandingOrder:
    return make_standing_order(
        site,
        "service",
        trigger=Trigger.METER,
        rule=rule,
        target={},
        duration={"from_service_item": True, "base_min": 10},
        machine_kinds=["loader"],
    )


def test_a_service_is_made_so_many_days_before_the_meter_is_there(
    site: Site, loader: Machine
) -> None:
    _service(site, due_within_d=5)
    _run(site)
    order = _open()
    assert (order.natural_key, order.cycle) == ("loader-1/oil/2", 2)
    assert (order.for_machine_id, order.place_id) == (loader.pk, loader.home_id)
    assert order.local_date == date(2026, 3, 9)
    assert order.due_at == utc("2026-03-10 06:00")  # the end of that day
    assert (order.title, order.skill, order.duration_min) == (
        {"en": "Change the oil"},
        "mechanic",
        160,
    )
    assert order.machine_kinds == []  # the machine stands still for it


def test_a_service_further_off_is_not_made_yet(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=4)
    assert _run(site) == Counts()
    assert _run(site, NOW + timedelta(days=1)).n_made == 1


def test_harder_use_moves_the_service(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5)
    _run(site)
    _read(loader, -1, 2230)
    assert _run(site, NOW + timedelta(days=1)).n_moved == 1
    assert _open().local_date == date(2026, 3, 7)


def test_an_overdue_service_stays_due(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5)
    _run(site)
    for days in range(6, 40, 5):
        _run(site, NOW + timedelta(days=days))
        assert _open().due_at > NOW + timedelta(days=days)


def test_a_service_record_closes_its_order_and_asks_for_the_next_cycle(
    site: Site, loader: Machine
) -> None:
    _service(site, due_within_d=5)
    _run(site)
    _record(loader, ServiceItem.objects.get(), 0, cycle=2)
    _run(site)
    order = WorkOrder.objects.get()
    assert (order.outcome, order.ended_at) == (Outcome.DONE, NOW)
    assert order.ended_by is not None
    assert order.ended_by.key == "mechanic-2"


def test_only_the_items_and_kinds_named_are_serviced(site: Site, loader: Machine) -> None:
    _service(site, due_within_d=5, service_items=["grease"])
    assert _run(site) == Counts()
    StandingOrder.objects.update(
        trigger_rule={"due_within_d": 5, "machine_kinds": ["truck"], "service_items": ["oil"]}
    )
    assert _run(site) == Counts()


# --- after other work


@pytest.fixture
def chain(site: Site) -> StandingOrder:
    """A check at 06:00 to 10:00, and a wash 15 minutes after it, within half an hour."""
    make_pen(site)
    make_standing_order(site, "check", trigger=Trigger.CALENDAR, duration={"base_min": 30})
    return make_standing_order(
        site,
        "wash",
        trigger=Trigger.AFTER,
        rule={
            "standing_order": "check",
            "relation": "FINISHTOSTART",
            "gap_min": 15,
            "window_min": 30,
        },
    )


def _pair() -> tuple[WorkOrder, WorkOrder]:
    check = WorkOrder.objects.get(natural_key="check/pen-1/2026-03-04/0")
    return check, WorkOrder.objects.get(natural_key="wash/pen-1/2026-03-04/0")


def test_work_follows_other_work_at_the_same_place(site: Site, chain: StandingOrder) -> None:
    assert _run(site, days=1) == Counts(n_made=2)
    check, wash = _pair()
    assert wash.starts_after == check.starts_after + timedelta(minutes=45)
    assert wash.due_at == check.due_at + timedelta(minutes=45)
    need = Dependency.objects.get()
    assert (need.work_order, need.on, need.gap_min) == (wash, check, 15)
    assert _run(site, days=1) == Counts()


def test_it_is_timed_by_what_happened_once_that_is_known(site: Site, chain: StandingOrder) -> None:
    _run(site, days=1)
    check, wash = _pair()
    _close(check, utc("2026-03-04 13:40"))
    assert _run(site, utc("2026-03-04 13:41"), days=0) == Counts(n_moved=1)
    wash.refresh_from_db()
    assert wash.starts_after == utc("2026-03-04 13:55")
    assert wash.due_at == utc("2026-03-04 14:25")


@pytest.mark.parametrize("outcome", [Outcome.MISSED, Outcome.COULD_NOT, Outcome.NOT_NEEDED])
def test_it_goes_when_what_it_follows_is_not_done(
    site: Site, chain: StandingOrder, outcome: Outcome
) -> None:
    _run(site, days=1)
    check, wash = _pair()
    _close(check, NOW, outcome)
    assert _run(site, days=1) == Counts(n_cancelled=1)
    wash.refresh_from_db()
    assert wash.reason == "leader_gone"


def test_a_chain_of_three_is_made_in_one_pass(site: Site, chain: StandingOrder) -> None:
    make_standing_order(
        site,
        "dry",
        trigger=Trigger.AFTER,
        rule={"standing_order": "wash", "relation": "STARTTOSTART", "window_min": 20},
    )
    assert _run(site, days=1) == Counts(n_made=3)
    assert Dependency.objects.count() == 2


def test_a_changed_gap_changes_the_dependency(site: Site, chain: StandingOrder) -> None:
    _run(site, days=1)
    chain.trigger_rule = {**chain.trigger_rule, "gap_min": 20, "gap_max_min": 60}
    chain.save()
    _run(site, days=1)
    need = Dependency.objects.get()
    assert (need.gap_min, need.gap_max_min) == (20, 60)


def test_a_narrow_pass_makes_what_follows_too(site: Site, chain: StandingOrder) -> None:
    assert _run(site, days=1, triggers=[Trigger.CALENDAR]) == Counts(n_made=2)
    assert _run(site, days=1, triggers=[Trigger.METER]) == Counts()
    assert _run(site, days=1, standing_order_ids=[chain.pk]) == Counts()


def test_follower_keys_of_very_long_names_stay_apart(site: Site) -> None:
    long = "x" * 58
    make_place(site, f"{long}-p", PlaceKind.PEN)
    make_place(site, f"{long}-q", PlaceKind.PEN)
    make_standing_order(site, f"{long}-a", trigger=Trigger.CALENDAR)
    rule = {"standing_order": f"{long}-a", "relation": "FINISHTOSTART", "window_min": 20}
    make_standing_order(site, f"{long}-b", trigger=Trigger.AFTER, rule=rule)
    assert _run(site, days=1) == Counts(n_made=4)
    assert max(len(key) for key in _keys()) <= 160
