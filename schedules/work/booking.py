"""Sand moves with the work that moves it: a step done is booked on the ledger at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import transaction

from crews.people.leads import is_lead
from equipment.machines.models import Machine
from equipment.site.errors import DomainError
from equipment.site.models import Actor, PlaceKind
from schedules.sand import queries as sand_queries
from schedules.sand import services as sand
from schedules.sand.calc.supply import bucket_dry_kg
from schedules.sand.models import MoistureTest

from .models import UNBOOKED, Outcome, Question, WorkOrder
from .telling import Teller

BOOKED = None  # nothing to ask
FOR_LEADS = ("cured", "released")  # no work but a decision, by a named manager or lead

Book = Callable[[WorkOrder, Teller, int | None], Question | None]


def book_sand(order: WorkOrder, teller: Teller, to_place_id: int | None) -> Question | None:
    """Book what work just closed did to sand; gives what a person must be asked.

    The work stays done whatever the ledger says: what sand refuses is for a person to put right.
    """
    book = _book_of(order)
    if book is None:
        return BOOKED
    if needs_lead(order, teller.by):
        return Question.RELEASE_NEEDS_LEAD
    try:
        with transaction.atomic():
            return book(order, teller, to_place_id)
    except DomainError:
        return Question.SAND_NOT_BOOKED


def needs_lead(order: WorkOrder, by: Actor) -> bool:
    """Whether its word is a decision about sand that is not this person's to take."""
    return order.batch_step in FOR_LEADS and not is_lead(by)


def has_booked_sand(order: WorkOrder) -> bool:
    """Whether closing the work moved sand."""
    return _book_of(order) is not None and order.needs_decision not in UNBOOKED


def is_scoop(order: WorkOrder) -> bool:
    """Whether its loads are buckets out of a lane."""
    return order.place.kind == PlaceKind.LANE and order.loads > 0


def scoop(order: WorkOrder, teller: Teller, n_buckets: int) -> None:
    """Book buckets out of the lane that a work order is at."""
    sand.scoop(
        site_id=order.site_id,
        lane_id=order.place_id,
        buckets=n_buckets,
        machine_id=teller.machine.pk if teller.machine else _machine_of(order),
        by=teller.by,
        at=teller.at,
        event=teller.event,
    )


def _machine_of(order: WorkOrder) -> int | None:
    with_one = order.reports.filter(machine__isnull=False).order_by("-id")
    return with_one.values_list("machine_id", flat=True).first()


def _book_of(order: WorkOrder) -> Book | None:
    if is_scoop(order):
        return _book_scoop
    if order.outcome == Outcome.DONE and order.batch_step:
        return STEPS.get(order.batch_step)
    return None


def _book_scoop(order: WorkOrder, teller: Teller, _to_place_id: int | None) -> Question | None:
    scoop(order, teller, order.loads)
    return BOOKED


def _what(order: WorkOrder, teller: Teller) -> dict[str, Any]:
    return {
        "site_id": order.site_id,
        "batch_id": order.batch_id,
        "by": teller.by,
        "at": teller.at,
        "event": teller.event,
    }


def _book_spread(order: WorkOrder, teller: Teller, to_place_id: int | None) -> Question | None:
    """On the bay that was said, else on the first free one, which a person must look at."""
    free = [bay.pk for bay, batch in sand_queries.bays_with_batches(order.site_id) if batch is None]
    bay_id = to_place_id or next(iter(free), None)
    if bay_id is None:
        return Question.SAND_NOT_BOOKED
    sand.spread(bay_id=bay_id, **_what(order, teller))
    return BOOKED if to_place_id else Question.PLACE_ASSUMED


def _book_pile(order: WorkOrder, teller: Teller, to_place_id: int | None) -> Question | None:
    """On the place that was said, else on an open pile with room, else on the first free place."""
    assert order.batch is not None  # a step is always a batch's
    place_id = to_place_id or sand_queries.place_for_pile(order.batch)
    if place_id is None:
        return Question.SAND_NOT_BOOKED
    sand.pile(pile_place_id=place_id, **_what(order, teller))
    return BOOKED if to_place_id else Question.PLACE_ASSUMED


def _book_bed(order: WorkOrder, teller: Teller, to_place_id: int | None) -> Question | None:
    """Into the pen that was said, or that the work is in: as many loads as were counted."""
    pen_id = to_place_id or (order.place_id if order.place.kind == PlaceKind.PEN else None)
    machine = teller.machine or Machine.objects.filter(pk=_machine_of(order) or 0).first()
    if pen_id is None or machine is None or not machine.bucket_m3 or not order.loads:
        return Question.SAND_NOT_BOOKED
    assert order.batch is not None  # a step is always a batch's
    amount = bucket_dry_kg(
        order.loads,
        bucket_m3=machine.bucket_m3,
        fill_frac=machine.fill_frac,
        moisture_wb_frac=order.batch.moisture_wb_frac,
    )
    sand.bed(pen_id=pen_id, dry_kg=amount.dry_kg, **_what(order, teller))
    return BOOKED


def _book_test(order: WorkOrder, _teller: Teller, _to_place_id: int | None) -> Question | None:
    """A test is its measured value; without one nothing is known."""
    assert order.batch is not None  # a step is always a batch's
    tests = MoistureTest.objects.filter(batch=order.batch, taken_at__gte=order.batch.stage_since)
    return BOOKED if tests.exists() else Question.TEST_MISSING


def _plainly(verb: Callable[..., Any]) -> Book:
    def book(order: WorkOrder, teller: Teller, _to_place_id: int | None) -> Question | None:
        verb(**_what(order, teller))
        return BOOKED

    return book


STEPS: dict[str, Book] = {
    "spread": _book_spread,
    "turned": _plainly(sand.turn),
    "tested": _book_test,
    "piled": _book_pile,
    "pile_closed": _plainly(sand.close_pile),
    "cured": _plainly(sand.mark_cured),
    "released": _plainly(sand.release),
    "bedded": _book_bed,
}
