"""Work by the stage of a batch of sand, and the records that close it."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from equipment.sandyard.models import Bay, Pad, SandPractice
from equipment.site.models import HoldSubject, Place, PlaceKind, Site
from equipment.site.services import put_hold
from schedules.sand.models import Batch, BatchStep, DryForecast, MoistureTest, Stage
from schedules.work.models import (
    Dependency,
    Outcome,
    Report,
    StandingOrder,
    Status,
    Trigger,
    WorkOrder,
)
from schedules.work.reconcile import Counts
from tests.factories import (
    make_actor,
    make_place,
    make_standing_order,
    utc,
)

from .passes import NOW, keys, open_order, rows, run_at

pytestmark = pytest.mark.django_db


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
    run_at(site)
    order = open_order()
    assert (order.natural_key, order.batch_step) == ("spread/batch-12/1", "spread")
    assert (order.batch_id, order.place_id) == (batch.pk, slab.pk)
    assert order.starts_after == NOW + timedelta(hours=36)
    assert run_at(site) == Counts()


@pytest.mark.parametrize("step", ["spread", "tested", "covered"])
@pytest.mark.parametrize("stage", [Stage.DRAINING, Stage.CURING])
def test_what_is_still_being_filled_waits_for_no_step_until_it_closes(
    site: Site, slab: Place, stage: Stage, step: str
) -> None:
    batch = _batch(slab, stage, NOW - timedelta(hours=30), closed_at=None)
    _step(site, "order", stage=stage, step=step, after_h=36)
    assert run_at(site) == Counts()
    batch.closed_at = batch.stage_since = NOW
    batch.save()
    assert run_at(site).n_made == 1
    assert open_order().starts_after == NOW + timedelta(hours=36)


def test_a_step_waits_however_late_until_the_batch_moves_on(site: Site, slab: Place) -> None:
    batch = _batch(slab, Stage.DRAINING, NOW - timedelta(days=9))
    _step(site, "spread", after_h=36)
    run_at(site)
    assert open_order().due_at > NOW
    batch.stage = Stage.DRYING
    batch.save()
    assert run_at(site) == Counts(n_cancelled=1)
    assert rows()[0].reason == "batch_moved_on"


def test_a_bay_is_turned_so_often_a_day_until_it_is_expected_dry(site: Site, bay: Place) -> None:
    batch = _batch(bay, Stage.DRYING, number=3)  # since 05:00 local
    _forecast(batch, "2026-03-06")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    run_at(site)
    assert keys() == [f"turn/batch-3/{n}" for n in range(1, 7)]
    first, second = rows()[:2]
    assert (first.starts_after, first.due_at) == (utc("2026-03-04 16:30"), utc("2026-03-04 19:45"))
    assert second.starts_after == first.due_at


def test_a_better_forecast_takes_turnings_back_and_a_worse_one_brings_them(
    site: Site, bay: Place
) -> None:
    batch = _batch(bay, Stage.DRYING)
    _forecast(batch, "2026-03-07")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    assert run_at(site).n_made == 8
    _forecast(batch, "2026-03-05", NOW + timedelta(hours=1))
    assert run_at(site) == Counts(n_cancelled=4)
    _forecast(batch, "2026-03-06", NOW + timedelta(hours=2))
    assert run_at(site) == Counts(n_revived=2)


def test_a_turning_nobody_came_to_is_missed(site: Site, bay: Place) -> None:
    _batch(bay, Stage.DRYING)
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    run_at(site, days=1)
    assert run_at(site, utc("2026-03-04 20:00"), days=1).n_missed == 1


def test_pickup_follows_the_forecast_and_waits_on_the_test(site: Site, bay: Place) -> None:
    batch = _batch(bay, Stage.DRYING)
    _forecast(batch, "2026-03-09")
    _step(site, "pile", step="piled", when="dry", at_local="12:00", **DRYING)
    _step(site, "test", step="tested", when="dry", at_local="09:00", **DRYING)
    run_at(site)
    pile, test = (WorkOrder.objects.get(batch_step=step) for step in ("piled", "tested"))
    assert pile.starts_after == utc("2026-03-09 18:00")  # noon, summer time
    need = Dependency.objects.get()
    assert (need.work_order, need.on, need.relation) == (pile, test, "FINISHTOSTART")
    _forecast(batch, "2026-03-11", NOW + timedelta(hours=1))
    assert run_at(site) == Counts(n_moved=2)


def test_a_test_that_was_made_closes_its_order_and_a_wet_one_asks_again(
    site: Site, bay: Place
) -> None:
    SandPractice.objects.create(site=site, dry_moisture_wb_frac=0.05)
    batch, ana = _batch(bay, Stage.DRYING), make_actor(site, "ana")
    _forecast(batch, "2026-03-04")
    _step(site, "test", step="tested", when="dry", **DRYING)
    _step(site, "pile", step="piled", when="dry", **DRYING)
    run_at(site)
    test = {"site": site, "batch": batch, "given_basis": "wb", "by": ana}
    tested_at = utc("2026-03-04 16:00")
    MoistureTest.objects.create(taken_at=tested_at, moisture_wb_frac=0.09, **test)
    run_at(site, tested_at)
    first, second = rows(batch_step="tested")
    assert (first.outcome, first.ended_at, first.ended_by) == (Outcome.DONE, tested_at, ana)
    assert second.natural_key == "test/batch-1/2"
    pile = WorkOrder.objects.get(batch_step="piled")
    assert list(pile.needs.values_list("on_id", flat=True)) == [second.pk]
    dry_at = tested_at + timedelta(hours=20)
    MoistureTest.objects.create(taken_at=dry_at, moisture_wb_frac=0.04, **test)
    run_at(site, dry_at)
    assert [row.status for row in rows(batch_step="tested")] == [Status.COMPLETED] * 2


def test_a_step_told_on_the_sand_page_closes_its_order_once(site: Site, bay: Place) -> None:
    batch, ana = _batch(bay, Stage.DRYING), make_actor(site, "ana")
    _step(site, "turn", step="turned", **DRYING, **TURNS)
    run_at(site, days=2)
    at = utc("2026-03-04 17:00")
    BatchStep.objects.create(site=site, batch=batch, kind="turned", at=at, by=ana)
    for _again in range(2):
        run_at(site, at, days=1)
    first, second, *_rest = rows()
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
    run_at(site, days=1)
    assert keys() == ["deliver/batch-2/6"]
    oldest = Batch.objects.get(number=2)
    put_hold(
        site_id=site.pk,
        subject_kind=HoldSubject.BATCH,
        subject_id=oldest.pk,
        reason="smells",
        by=ana,
        at=NOW,
    )
    assert run_at(site, days=1) == Counts(n_made=1, n_cancelled=1)
    assert open_order().natural_key == "deliver/batch-1/4"


def test_a_pile_is_closed_after_its_days_and_called_cured_on_its_date(
    site: Site, bay: Place
) -> None:
    pile = _batch(bay, Stage.CURING, closed_at=None, number=7)
    _step(site, "close", stage="curing", step="pile_closed", after_d=8, at_local="13:00")
    _step(site, "cured", stage="curing", step="cured", when="ready", at_local="08:00")
    run_at(site)
    assert keys() == ["close/batch-7/1"]
    assert open_order().starts_after == utc("2026-03-12 19:00")
    pile.closed_at = pile.stage_since = NOW + timedelta(hours=1)
    pile.ready_on = date(2026, 3, 14)
    pile.save()
    assert run_at(site) == Counts(n_made=1, n_cancelled=1)
    assert open_order().starts_after == utc("2026-03-14 14:00")
