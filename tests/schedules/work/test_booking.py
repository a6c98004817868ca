"""Sand moves with the work that moves it; what the ledger refuses is a person's to put right."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.sandyard.models import Bay, Pad, PilePlace, Slab
from equipment.site.models import Actor, Place, PlaceKind, Role, Site
from equipment.site.services import actor_of_user
from equipment.site.writes import site_write
from schedules.errors import CannotUndoError
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch, MoistureTest, Stage
from schedules.sand.services import mark_cured, release, scoop
from schedules.work.closing import close_recorded
from schedules.work.decisions import settle_decision
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.progress import add_load, finish_work, undo_report
from tests.factories import (
    make_lane,
    make_machine,
    make_place,
    make_site,
    make_user,
    make_work_order,
    make_worker,
)

from .verbs import T0, VERBS, close_by_service, who

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


def _closed_pile(site: Site, by: Actor) -> Batch:
    """A closed pile whose cure is over."""
    _done(_step(_drying(site, by), "piled"), by)
    pile = Batch.objects.get(stage=Stage.CURING)
    _done(_step(pile, "pile_closed"), by)
    Batch.objects.filter(pk=pile.pk).update(ready_on=T0.date())
    return pile


def _cured_pile(site: Site, by: Actor) -> Batch:
    pile = _closed_pile(site, by)
    mark_cured(site_id=site.pk, batch_id=pile.pk, by=by, at=T0)
    return pile


def _stands(pile: Batch) -> tuple[str, Actor | None]:
    pile.refresh_from_db()
    return pile.stage, pile.released_by


@pytest.fixture
def lea(site: Site) -> Actor:
    """A lead."""
    return make_worker(site, "lea", role=Role.LEAD).actor


def test_a_pile_is_closed_called_cured_and_released_by_the_lead_who_did_it(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    pile = _closed_pile(site, ana)
    _done(_step(pile, "cured"), lea)
    assert _done(_step(pile, "released"), lea).needs_decision == ""
    assert _stands(pile) == (Stage.RELEASED, lea)


def test_a_manager_with_an_account_releases_too(site: Site, yard: None, ana: Actor) -> None:
    pile = _cured_pile(site, ana)
    manager = actor_of_user(site.pk, make_user(Role.MANAGER, site))
    _done(_step(pile, "released"), manager)
    assert _stands(pile) == (Stage.RELEASED, manager)


@pytest.mark.parametrize("role", [Role.WORKER, Role.MECHANIC])
def test_the_word_of_a_worker_releases_no_sand_and_a_lead_is_asked(
    site: Site, yard: None, ana: Actor, role: Role
) -> None:
    pile = _cured_pile(site, ana)
    ben = make_worker(site, "ben", role=role).actor
    order = _done(_step(pile, "released"), ben)
    assert (order.status, order.outcome) == (Status.COMPLETED, Outcome.DONE)
    assert order.needs_decision == "release_needs_lead"
    assert _stands(pile) == (Stage.CURED, None)


def test_a_worker_calls_no_sand_cured(site: Site, yard: None, ana: Actor) -> None:
    pile = _closed_pile(site, ana)
    assert _done(_step(pile, "cured"), ana).needs_decision == "release_needs_lead"
    assert _stands(pile) == (Stage.CURING, None)


def test_a_lead_of_another_farm_decides_nothing_here(site: Site, yard: None, ana: Actor) -> None:
    pile = _cured_pile(site, ana)
    stranger = actor_of_user(site.pk, make_user(Role.LEAD, make_site("elsewhere")))
    assert _done(_step(pile, "released"), stranger).needs_decision == "release_needs_lead"
    assert _stands(pile) == (Stage.CURED, None)


def test_sand_a_worker_reported_is_released_in_the_name_of_the_lead_who_lets_it_count(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    pile = _cured_pile(site, ana)
    order = _done(_step(pile, "released"), ana)
    settled = settle_decision(accept=True, **who(order, lea, 60))
    assert (settled.needs_decision, settled.ended_by) == ("", ana)
    assert _stands(pile) == (Stage.RELEASED, lea)
    assert pile.released_at == T0 + timedelta(minutes=60)


def test_sand_a_worker_reported_stays_as_it_is_when_a_lead_says_so(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    pile = _cured_pile(site, ana)
    order = _done(_step(pile, "released"), ana)
    assert settle_decision(accept=False, **who(order, lea, 60)).needs_decision == ""
    assert _stands(pile) == (Stage.CURED, None)


def test_a_release_reported_too_late_counts_in_the_name_of_the_lead(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    pile = _cured_pile(site, ana)
    order = _step(pile, "released")
    close_by_service(order, Outcome.MISSED)
    _done(order, ana)
    settled = settle_decision(accept=True, **who(order, lea, 60))
    assert (settled.status, settled.needs_decision) == (Status.COMPLETED, "")
    assert _stands(pile) == (Stage.RELEASED, lea)


def test_sand_released_on_the_sand_page_answers_what_the_worker_reported(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    pile = _cured_pile(site, ana)
    order = _done(_step(pile, "released"), ana)
    release(site_id=site.pk, batch_id=pile.pk, by=lea, at=T0 + timedelta(minutes=30))
    with site_write(site.pk, T0 + timedelta(hours=1)) as write:
        close_recorded(write, write.at)
    order.refresh_from_db()
    assert (order.needs_decision, order.ended_by) == ("", ana)
    assert [r.kind for r in order.reports.order_by("id")] == ["done", "accepted"]


def test_a_worker_may_take_back_a_release_that_moved_nothing(
    site: Site, yard: None, ana: Actor
) -> None:
    order = _done(_step(_cured_pile(site, ana), "released"), ana)
    undone = undo_report(**who(order, ana, 1))
    assert (undone.status, undone.needs_decision) == (Status.NEEDS_ACTION, "")


def test_what_the_ledger_refuses_stays_done_and_is_asked_about(
    site: Site, yard: None, ana: Actor, lea: Actor
) -> None:
    _done(_step(_drying(site, ana), "piled"), ana)
    pile = Batch.objects.get(stage=Stage.CURING)
    order = _done(_step(pile, "released"), lea)  # neither closed nor cured
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


def test_sand_not_booked_is_asked_first_so_that_the_word_can_be_taken_back(
    site: Site, yard: None, ana: Actor
) -> None:
    order = _step(_drying(site, ana), "bedded")
    WorkOrder.objects.filter(pk=order.pk).update(needs_decision="lock_missing")
    assert _done(order, ana).needs_decision == "sand_not_booked"
    assert undo_report(**who(order, ana, 1)).status == Status.NEEDS_ACTION


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
