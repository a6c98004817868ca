"""Cows that will come back to beds that are not ready."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from crews.people.models import Worker
from equipment.barns.models import BedGroup
from equipment.site.models import PlaceKind
from schedules.dayplan.calc.remedies import Remedy, RemedyKind
from schedules.dayplan.help import help_for
from schedules.dayplan.queries import assignment_of, orders_between, span_taken
from schedules.rounds.clock import site_parlor
from schedules.rounds.models import PenVisit
from schedules.work.models import Status, WorkOrder
from schedules.work.queries import OPEN

from .calc.beds import BedsShort, RowWork, beds_short
from .found import Answer, Found
from .models import AlertKind, AnswerCode

AHEAD = timedelta(hours=4)  # half a shift: later visits can still be planned otherwise
MINUTE, STEP_MIN = timedelta(minutes=1), 5  # so that what is late is not stated anew each minute
CODES = {  # more time for the job is none: its window ends when the cows come
    RemedyKind.ONE_MORE_PERSON: AnswerCode.ONE_MORE_PERSON,
    RemedyKind.ONE_MORE_MACHINE: AnswerCode.ONE_MORE_MACHINE,
    RemedyKind.INSTEAD_OF: AnswerCode.INSTEAD_OF,
}


def look_for_beds(site_id: int, now: datetime) -> list[Found]:
    """Find the visits of the next hours whose beds are not done in time: 5 queries."""
    by_visit: dict[int, list[WorkOrder]] = defaultdict(list)
    for order in _bed_work(site_id, now):
        if order.visit_id is not None:
            by_visit[order.visit_id].append(order)
    visits = PenVisit.objects.filter(site_id=site_id, pk__in=by_visit, last_back_at__gt=now)
    stalls = _stalls(site_id)
    found = []
    for visit in visits.order_by("called_at", "pk"):
        orders = by_visit[visit.pk]
        short = beds_short([_row(order, stalls, now) for order in orders], now)
        if short is not None:
            found.append(_found(visit, orders, short))
    return found


def _bed_work(site_id: int, now: datetime) -> list[WorkOrder]:
    """Open work on rows of beds, with who has it: 3 queries."""
    rows = orders_between(site_id, now - AHEAD, now + AHEAD).filter(
        status__in=OPEN, visit__isnull=False, place__kind=PlaceKind.BED_GROUP
    )
    return list(rows)


def _stalls(site_id: int) -> dict[int, int]:
    rows = BedGroup.objects.filter(site_id=site_id, place__retired_at=None)
    return dict(rows.values_list("place_id", "n_stalls"))


def _row(order: WorkOrder, stalls: dict[int, int], now: datetime) -> RowWork:
    return RowWork(
        n_stalls=stalls.get(order.place_id, 1),
        duration_min=order.duration_min,
        due_at=order.due_at,
        ends_at=None if _has_nobody(order) else _end_of(order, now),
    )


def _end_of(order: WorkOrder, now: datetime) -> datetime:
    """Say when work that somebody has ends; past its closing, at the next five minutes."""
    if now < order.due_at:
        starts_at, _end = span_taken(order, assignment_of(order), now)
        return max(starts_at + order.duration_min * MINUTE, now)
    past = timedelta(
        minutes=now.minute % STEP_MIN, seconds=now.second, microseconds=now.microsecond
    )
    return now - past + STEP_MIN * MINUTE


def _has_nobody(order: WorkOrder) -> bool:
    """Whether it waits for somebody: what is under way has whoever began it."""
    if order.status == Status.IN_PROCESS:
        return False
    assignment = assignment_of(order)
    return assignment is None or not any(claim.worker_id for claim in assignment.claims.all())


def _found(visit: PenVisit, orders: Sequence[WorkOrder], short: BedsShort) -> Found:
    nobody = sorted(order.pk for order in orders if _has_nobody(order))
    return Found(
        kind=AlertKind.BEDS,
        subject=f"visit-{visit.pk}",
        place_id=visit.pen_id,
        due_at=short.decide_by,
        facts={
            "n_rows": short.n_rows,
            "n_nobody": short.n_nobody,
            "over_min": round(short.over_min),
            "n_stalls": short.n_stalls,
            "closes_at": short.closes_at.isoformat(),
            "back_at": visit.first_back_at.isoformat(),
            "nobody": nobody,
        },
        weight=short.n_rows,
    )


def answer_beds(site_id: int, found: Found, now: datetime) -> list[Answer]:
    """Give what the plan's own search finds for work that nobody has, else what gives way.

    Each remedy is found by a solve of the day with all else as it is; seconds. Cows wait only as
    long as the farm's limit of time away leaves, and only before the first is back.
    """
    names = dict(Worker.objects.filter(site_id=site_id).values_list("pk", "name"))
    answers = [
        Answer(CODES[remedy.kind], _remedy_facts(remedy, order_id, names))
        for order_id in found.facts["nobody"][:1]
        for remedy in help_for(site_id=site_id, work_order_id=order_id, at=now).remedies
        if remedy.kind in CODES
    ]
    first = {answer.code: answer for answer in reversed(answers)}  # of a kind, the cheapest
    over_min = found.facts["over_min"]
    last = [Answer(AnswerCode.LEAVE_STALLS, {"n_stalls": found.facts["n_stalls"]})]
    if 0 < over_min <= _may_wait_min(site_id, found, now):
        last.insert(0, Answer(AnswerCode.COWS_LATER, {"later_min": over_min}))
    return [*first.values(), *last]


def _may_wait_min(site_id: int, found: Found, now: datetime) -> float:
    """How long a pen's cows may come back later by the farm's limit of time away: 2 queries."""
    visit = PenVisit.objects.filter(site_id=site_id, pk=int(found.subject.split("-")[1])).first()
    parlor = site_parlor(site_id)
    if visit is None or parlor is None or visit.first_back_at <= now:
        return 0.0
    return parlor.away_limit_min - (visit.last_back_at - visit.first_out_at) / MINUTE


def _remedy_facts(remedy: Remedy, order_id: int, names: Mapping[int, str]) -> dict[str, object]:
    """Write a remedy down; who is not there yet has no name."""
    people = [int(person) for person in remedy.given.people if person.isdigit()]
    return {
        "work_order": order_id,
        "names": [names[person] for person in people if person in names],
        "starts_at": remedy.given.start.isoformat(),
        "instead_of": int(remedy.instead_of) if remedy.instead_of else None,
    }
