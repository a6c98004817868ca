"""Sand moves with the work that moves it; what the ledger refuses is a person's to put right."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.sandyard.models import Bay, Pad, PilePlace, Slab
from equipment.site.models import Actor, Place, PlaceKind, Site
from schedules.errors import CannotUndoError
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch, MoistureTest, Stage
from schedules.sand.services import scoop
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.progress import add_load, finish_work, undo_report
from tests.factories import make_lane, make_machine, make_place, make_work_order

from .verbs import T0, VERBS, who

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(site: Site) -> None:
    """A lane, a slab, two bays and two pile places."""
    make_lane(site)
    slab = make_place(site, "slab", PlaceKind.SLAB)
    Slab.objects.create(site=site, place=slab, capacity_kg=500_000)
    pad = Pad.objects.create(site=site, place=make_place(site, "pad", PlaceKind.PAD))
    for number in (1, 2):
        bay = make_place(site, f"bay-{number}", PlaceKind.BAY)
        Bay.objects.create(site=site, place=bay, pad=pad, area_m2=600, capacity_kg=240_000)
        pile = make_place(site, f"pile-{number}", PlaceKind.PILE_PLACE)
        PilePlace.objects.create(site=site, place=pile, capacity_kg=1_000_000)


def _place(site: Site, key: str) -> Place:
    return Place.objects.get(site=site, key=key)


def _scooped(site: Site, by: Actor) -> Batch:
    lane = _place(site, "lane-1")
    return scoop(site_id=site.pk, lane_id=lane.pk, buckets=10, by=by, at=T0 - timedelta(days=2))


def _step(batch: Batch, step: str) -> WorkOrder:
    assert batch.place is not None
    return make_work_order(batch.site, f"{step}/1", place=batch.place, batch=batch, batch_step=step)


def _drying(site: Site, by: Actor) -> Batch:
    batch = _scooped(site, by)
    _done(_step(batch, "spread"), by, to_place_id=_place(site, "bay-1").pk)
    batch.refresh_from_db()
    return batch


def _done(order: WorkOrder, by: Actor, **said: Any) -> WorkOrder:
    return finish_work(outcome="done", **said, **who(order, by))


def test_buckets_counted_at_a_lane_are_booked_when_the_work_ends(
    site: Site, yard: None, ana: Actor
) -> None:
    loader = make_machine(site, bucket_m3=3.0)
    order = make_work_order(site, place=_place(site, "lane-1"))
    for minute in range(4):
        add_load(machine=loader, **who(order, ana, minute))
    assert not Batch.objects.exists()
    VERBS["done"](order, ana, 9)
    booked_kg = batch_mass_kg(Batch.objects.get())
    add_load(machine=loader, **who(order, ana, 12))  # told late: booked at once
    assert batch_mass_kg(Batch.objects.get()) == pytest.approx(booked_kg * 5 / 4)


def test_a_lane_scooped_without_a_count_books_nothing(site: Site, yard: None, ana: Actor) -> None:
    order = make_work_order(site, place=_place(site, "lane-1"))
    assert _done(order, ana).needs_decision == ""
    assert not Batch.objects.exists()


def test_sand_is_spread_on_the_bay_that_was_said(site: Site, yard: None, ana: Actor) -> None:
    batch = _scooped(site, ana)
    order = _done(_step(batch, "spread"), ana, to_place_id=_place(site, "bay-2").pk)
    batch.refresh_from_db()
    assert (batch.stage, batch.place) == (Stage.DRYING, _place(site, "bay-2"))
    assert order.needs_decision == ""


def test_a_bay_nobody_named_is_the_first_free_one_and_asked_about(
    site: Site, yard: None, ana: Actor
) -> None:
    _drying(site, ana)  # on bay 1
    batch = _scooped(site, ana)
    WorkOrder.objects.filter(batch_step="spread").delete()
    order = _done(_step(batch, "spread"), ana)
    batch.refresh_from_db()
    assert (order.needs_decision, batch.place) == ("place_assumed", _place(site, "bay-2"))


def test_a_turning_is_booked_once_for_two_witnesses(
    site: Site, yard: None, ana: Actor, ben: Actor
) -> None:
    order = _step(_drying(site, ana), "turned")
    _done(order, ana)
    _done(order, ben)
    batch = Batch.objects.get()
    assert batch.steps.filter(kind="turned").count() == 1


def test_a_dry_bay_goes_to_the_open_pile(site: Site, yard: None, ana: Actor) -> None:
    first = _drying(site, ana)
    _done(_step(first, "piled"), ana, to_place_id=_place(site, "pile-2").pk)
    WorkOrder.objects.all().delete()
    second = _drying(site, ana)
    order = _done(_step(second, "piled"), ana)
    pile = Batch.objects.get(stage=Stage.CURING)
    assert order.needs_decision == "place_assumed"
    assert pile.place == _place(site, "pile-2")
    assert sorted(pile.parents.values_list("parent_id", flat=True)) == [first.pk, second.pk]


def test_an_open_pile_without_room_is_passed_over(site: Site, yard: None, ana: Actor) -> None:
    _done(_step(_drying(site, ana), "piled"), ana, to_place_id=_place(site, "pile-2").pk)
    WorkOrder.objects.all().delete()
    pile = Batch.objects.get(stage=Stage.CURING)
    PilePlace.objects.update(capacity_kg=1.5 * batch_mass_kg(pile))
    order = _done(_step(_drying(site, ana), "piled"), ana)
    newest = Batch.objects.filter(stage=Stage.CURING).latest("number")
    assert (order.needs_decision, newest.place) == ("place_assumed", _place(site, "pile-1"))


def test_a_pile_is_closed_called_cured_and_released_by_who_did_it(
    site: Site, yard: None, ana: Actor
) -> None:
    _done(_step(_drying(site, ana), "piled"), ana)
    pile = Batch.objects.get(stage=Stage.CURING)
    _done(_step(pile, "pile_closed"), ana)
    Batch.objects.filter(pk=pile.pk).update(ready_on=T0.date())
    _done(_step(pile, "cured"), ana)
    _done(_step(pile, "released"), ana)
    pile.refresh_from_db()
    assert (pile.stage, pile.released_by) == (Stage.RELEASED, ana)


def test_what_the_ledger_refuses_stays_done_and_is_asked_about(
    site: Site, yard: None, ana: Actor
) -> None:
    _done(_step(_drying(site, ana), "piled"), ana)
    pile = Batch.objects.get(stage=Stage.CURING)
    order = _done(_step(pile, "released"), ana)  # neither closed nor cured
    pile.refresh_from_db()
    assert (order.status, order.outcome) == (Status.COMPLETED, Outcome.DONE)
    assert order.needs_decision == "sand_not_booked"
    assert (pile.stage, pile.released_by) == (Stage.CURING, None)


def test_loads_bedded_into_a_pen_that_was_said_are_booked(
    site: Site, yard: None, ana: Actor
) -> None:
    spreader = make_machine(site, "spreader-1", bucket_m3=10.0)
    pile = Batch.objects.create(
        site=site,
        number=9,
        stage=Stage.RELEASED,
        place=_place(site, "pile-1"),
        opened_at=T0,
        stage_since=T0,
        moisture_wb_frac=0.04,
        cure_d=60,
        released_by=ana,
        released_at=T0,
    )
    order = _step(pile, "bedded")
    add_load(machine=spreader, **who(order, ana))
    pen = make_work_order(site, "other/1").place.bedgroup.pen
    assert _done(order, ana, to_place_id=pen.pk).needs_decision == ""
    assert pile.moves.filter(target__place=pen.place).count() == 1


def test_loads_bedded_nobody_knows_where_are_asked_about(
    site: Site, yard: None, ana: Actor
) -> None:
    order = _step(_drying(site, ana), "bedded")
    assert _done(order, ana).needs_decision == "sand_not_booked"


def test_a_test_without_a_figure_is_asked_about(site: Site, yard: None, ana: Actor) -> None:
    batch = _drying(site, ana)
    order = _step(batch, "tested")
    assert _done(order, ana).needs_decision == "test_missing"
    MoistureTest.objects.create(
        site=site, batch=batch, taken_at=T0, moisture_wb_frac=0.05, given_basis="wb", by=ana
    )
    again = make_work_order(site, "tested/2", place=order.place, batch=batch, batch_step="tested")
    assert _done(again, ana).needs_decision == ""


def test_a_word_that_moved_sand_is_not_taken_back(site: Site, yard: None, ana: Actor) -> None:
    order = _step(_drying(site, ana), "turned")
    _done(order, ana)
    with pytest.raises(CannotUndoError):
        undo_report(**who(order, ana, 1))


def test_a_witness_of_what_moved_sand_may_take_back_a_word(
    site: Site, yard: None, ana: Actor, ben: Actor
) -> None:
    order = _step(_drying(site, ana), "turned")
    _done(order, ana)
    _done(order, ben)
    assert undo_report(**who(order, ben, 1)).ended_by == ana


def test_a_bucket_told_late_is_booked_and_stays(site: Site, yard: None, ana: Actor) -> None:
    order = make_work_order(site, place=_place(site, "lane-1"))
    VERBS["done"](order, ana, 0)
    VERBS["load"](order, ana, 1)
    with pytest.raises(CannotUndoError):
        undo_report(**who(order, ana, 2))
