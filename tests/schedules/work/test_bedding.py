"""Sand that goes into a pen: while its cows are away, from the batch whose turn it is."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.barns.models import Pen
from equipment.parlor.models import Parlor
from equipment.site.models import Actor, HoldSubject, PlaceKind, Site
from equipment.site.services import clear_hold, put_hold
from schedules.rounds.models import BedWindow, PenVisit
from schedules.sand.models import AccountKind, Batch, Stage
from schedules.sand.services import release
from schedules.work.consume import consume_changes
from schedules.work.models import StandingOrder, WorkOrder
from schedules.work.progress import add_load, finish_work
from tests.factories import (
    make_batch,
    make_bed_group,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_standing_order,
    make_visit,
    utc,
)

from .passes import NOW, keys, open_order, run_at

pytestmark = pytest.mark.django_db

FOUR = utc("2026-03-04 14:00")  # a Wednesday, 07:00 in Denver


@pytest.fixture
def parlor(site: Site) -> Parlor:
    return make_parlor(site)


@pytest.fixture
def pen(site: Site) -> Pen:
    """A pen with one row of beds, empty 14:04 to 14:20, usable 14:05 to 14:19."""
    pen = make_pen(site)
    make_bed_group(pen)
    return pen


@pytest.fixture
def visit(pen: Pen, parlor: Parlor) -> PenVisit:
    return make_visit(make_milking(parlor, FOUR), pen, first_out_at=FOUR)


@pytest.fixture
def bedding(site: Site) -> StandingOrder:
    return make_standing_order(
        site, "bed", rule={"step": "bedded"}, target={"kind": PlaceKind.PEN}, n_people=2
    )


def _released(site: Site, days: int) -> Batch:
    return make_batch(site, Stage.RELEASED, at=NOW - timedelta(days=days), dry_kg=500_000)


def test_a_pen_is_bedded_while_empty_from_the_oldest_released_batch(
    site: Site, pen: Pen, visit: PenVisit, bedding: StandingOrder
) -> None:
    oldest = _released(site, 5)
    _released(site, 3)
    run_at(site, days=1)
    order = open_order()
    assert order.natural_key == f"bed/{pen}/2026-03-04/1"
    assert (order.place, order.visit) == (pen.place, visit)
    assert (order.batch, order.batch_step) == (oldest, "bedded")
    assert (order.starts_after, order.due_at) == (
        FOUR + timedelta(minutes=5),
        FOUR + timedelta(minutes=19),
    )


def test_it_ends_before_the_first_cow_though_a_row_stays_open_longer(
    site: Site, pen: Pen, visit: PenVisit, bedding: StandingOrder
) -> None:
    """Behind an inner gate a row closes later; who drives the whole pen is out by then."""
    _released(site, 5)
    BedWindow.objects.update(
        closes_at=visit.first_back_at + timedelta(minutes=30),
        usable_until=visit.first_back_at + timedelta(minutes=26),
    )
    run_at(site, days=1)
    assert open_order().due_at == visit.first_back_at - timedelta(minutes=4)


def test_without_released_sand_nobody_is_sent_to_a_pen(
    site: Site, visit: PenVisit, bedding: StandingOrder
) -> None:
    make_batch(site, Stage.CURED, at=NOW)
    run_at(site, days=1)
    assert keys() == []


def test_with_the_oldest_batch_held_the_next_one_is_taken_and_back_again(
    site: Site, visit: PenVisit, bedding: StandingOrder, ana: Actor
) -> None:
    oldest, next_one = _released(site, 5), _released(site, 3)
    run_at(site, days=1)
    held: dict[str, Any] = {"subject_kind": HoldSubject.BATCH, "subject_id": oldest.pk}
    told: dict[str, Any] = {"site_id": site.pk, "by": ana, "at": NOW}
    hold = put_hold(reason="smells", **held, **told)
    consume_changes(site_id=site.pk, now=NOW)
    assert open_order().batch == next_one
    clear_hold(hold_id=hold.pk, **told)
    consume_changes(site_id=site.pk, now=NOW)
    assert open_order().batch == oldest


def test_the_last_batch_held_calls_the_work_off_for_want_of_sand(
    site: Site, visit: PenVisit, bedding: StandingOrder, ana: Actor
) -> None:
    batch = _released(site, 5)
    run_at(site, days=1)
    kind = HoldSubject.BATCH
    put_hold(site_id=site.pk, subject_kind=kind, subject_id=batch.pk, reason="wet", by=ana, at=NOW)
    consume_changes(site_id=site.pk, now=NOW)
    order = WorkOrder.objects.get()
    assert (order.outcome, order.reason) == ("not_needed", "batch_moved_on")


def test_sand_that_is_released_makes_the_work_at_once(
    site: Site, visit: PenVisit, bedding: StandingOrder, ana: Actor
) -> None:
    batch = make_batch(site, Stage.CURED, at=NOW - timedelta(days=1), closed_at=NOW)
    run_at(site, days=1)
    release(site_id=site.pk, batch_id=batch.pk, by=ana, at=NOW)
    consume_changes(site_id=site.pk, now=NOW)
    assert open_order().batch == batch


def test_only_the_weekdays_that_are_named_bring_sand(
    site: Site, pen: Pen, parlor: Parlor, visit: PenVisit
) -> None:
    _released(site, 5)
    for days in (1, 2):
        at = FOUR + timedelta(days=days)
        make_visit(make_milking(parlor, at, local_date=at.date()), pen, first_out_at=at)
    rule = {"step": "bedded", "weekdays": ["WE", "FR"]}
    make_standing_order(site, "bed", rule=rule, target={"kind": PlaceKind.PEN})
    run_at(site, days=4)
    assert keys() == [f"bed/{pen}/2026-03-04/1", f"bed/{pen}/2026-03-06/1"]


def test_loads_go_into_the_pen_that_the_work_is_in(
    site: Site, pen: Pen, visit: PenVisit, bedding: StandingOrder, ana: Actor
) -> None:
    batch = _released(site, 5)
    run_at(site, days=1)
    told: dict[str, Any] = {"site_id": site.pk, "work_order_id": open_order().pk, "by": ana}
    at = FOUR + timedelta(minutes=10)
    add_load(machine=make_machine(site, "spreader-1", bucket_m3=9.0), at=at, **told)
    done = finish_work(outcome="done", at=at, **told)
    assert done.needs_decision == ""
    move = batch.moves.get(target__kind=AccountKind.BEDS)
    assert move.target.place == pen.place
