"""Documents of work: each crew's jobs, open problems, and what a lead must look at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator
from datetime import timedelta
from typing import Any, NamedTuple

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils.translation import gettext, gettext_lazy

from equipment.attachments.models import SubjectKind
from equipment.attachments.queries import attachments_of
from equipment.barns.models import BedGroup
from equipment.flushing.queries import open_locks, read_timers
from equipment.flushing.water import load_water_ways
from equipment.machines.models import Defect
from equipment.site.models import Actor, Event, EventState, PlaceKind
from equipment.site.queries import current_language
from schedules.dayplan.models import Claim
from schedules.dayplan.queries import claims_shown
from schedules.work.models import StandingOrder, Status, WorkOrder
from schedules.work.queries import (
    open_problems,
    say_decision,
    say_title,
    waiting_reasons,
)

from .documents import LEADS, Body, Document, Look, both, in_both, time_of, worker_scope
from .pictures import Pictures

GOES_TO = {"spread": PlaceKind.BAY, "piled": PlaceKind.PILE_PLACE, "bedded": PlaceKind.PEN}
BACK, AHEAD = timedelta(hours=12), timedelta(hours=36)
LOOKED_BACK = timedelta(days=14)  # for events that were refused
COUNT, LEAVE = "count", "leave"
ANSWERS = {
    COUNT: gettext_lazy("What was reported counts"),
    LEAVE: gettext_lazy("Leave it as it is"),
}
TOLD = {
    "start": gettext_lazy("Started"),
    "done": gettext_lazy("Done"),
    "part": gettext_lazy("Part done"),
    "could_not": gettext_lazy("Could not"),
    "load": gettext_lazy("A load"),
    "undo": gettext_lazy("Taken back"),
    "reading": gettext_lazy("Hour meter"),
    "check": gettext_lazy("Look round"),
    "lock_on": gettext_lazy("Lock on"),
    "lock_off": gettext_lazy("Lock off"),
    "problem": gettext_lazy("Problem"),
    "moisture_test": gettext_lazy("Moisture test"),
    "pen_time": gettext_lazy("Where the cows are"),
    "level": gettext_lazy("Basin level"),
    "hold": gettext_lazy("Out of use"),
    "service": gettext_lazy("Service"),
    "hand_over": gettext_lazy("Handover"),
    "take_handover": gettext_lazy("Handover taken"),
    "walk": gettext_lazy("Walk-round"),
    "photo": gettext_lazy("Photo"),
    "give": gettext_lazy("Work given"),
    "settle": gettext_lazy("Decision"),
    "answer_problem": gettext_lazy("Answer to a problem"),
    "set_pin": gettext_lazy("PIN"),
    "reset_pin": gettext_lazy("PIN"),
    "language": gettext_lazy("Language"),
}


def work_documents(look: Look) -> Iterator[Document]:
    """Jobs, problems and matters for a lead: 37 queries at most."""
    yield from _jobs(look)
    yield from _problems(look)
    yield from _looks(look)


# Jobs --------------------------------------------------------------------------------------------


def _jobs(look: Look) -> Iterator[Document]:
    """Each job in the scope of whoever has it: 17 queries, 21 under holds."""
    claims = _claims(look)
    orders = _orders({claim.order_id for claim in claims}, look)
    people: dict[int, list[int]] = defaultdict(list)
    spans = {}
    for claim in claims:
        if claim.worker_id in look.workers:
            people[claim.order_id].append(claim.worker_id)
            spans[claim.order_id] = claim.span
    machines = _machines(claims)
    waits = _waits(look, orders.values())
    locked = _locked_for(look, orders.values())
    pictures = Pictures(look.site.pk)
    n_stalls = dict(BedGroup.objects.filter(pk__in=look.places).values_list("pk", "n_stalls"))
    for pk, worker_ids in people.items():
        order = orders[pk]
        body = {
            **_job(look, order),
            "n_stalls": n_stalls.get(order.place_id),
            "picture": pictures.of(order),
            "planned_start": time_of(spans[pk].lower),
            "planned_end": time_of(spans[pk].upper),
            "worker_ids": sorted(set(worker_ids)),
            "machine": machines.get(pk),
            "waiting_on": waits.get(pk, []),
            "locked_for": sorted(locked.get(order.place_id, ())),
        }
        for scope in sorted({look.scope_of(worker_id) for worker_id in worker_ids}):
            yield Document(scope, "job", str(pk), body)


class _Claimed(NamedTuple):
    """Who has which work, when."""

    assignment_id: int
    order_id: int
    worker_id: int
    span: DateTimeTZRange


def _claims(look: Look) -> list[_Claimed]:
    span = (look.now - BACK, look.now + AHEAD)
    rows = Claim.objects.filter(site=look.site, worker__isnull=False, span__overlap=span)
    fields = ("assignment_id", "assignment__work_order_id", "worker_id", "span")
    return [_Claimed(*row) for row in rows.order_by("span", "pk").values_list(*fields)]


def _orders(ids: Collection[int], look: Look) -> dict[int, WorkOrder]:
    """Work orders with their places and standing orders, each of those read once: 2 queries."""
    rules: dict[int | None, StandingOrder] = {
        rule.pk: rule for rule in StandingOrder.objects.filter(site=look.site)
    }
    orders = WorkOrder.objects.in_bulk(ids)
    for order in orders.values():
        order.place = look.places[order.place_id]
        order.standing_order = rules.get(order.standing_order_id)
    return orders


def _machines(claims: Iterable[_Claimed]) -> dict[int, Body]:
    ids = {claim.assignment_id: claim.order_id for claim in claims}
    rows = claims_shown().filter(assignment_id__in=ids, machine__isnull=False).order_by("pk")
    named = rows.values_list("assignment_id", "machine_id", "machine__name")
    return {ids[assignment]: {"id": pk, "name": name} for assignment, pk, name in named}


def _waits(look: Look, orders: Iterable[WorkOrder]) -> dict[int, list[Body]]:
    """What each job waits on, named in both languages: 3 queries, 7 under holds."""
    ids = [order.pk for order in orders if order.status == Status.NEEDS_ACTION]
    return {
        pk: [{"code": reason.code, "name": in_both(reason.say)} for reason in reasons]
        for pk, reasons in waiting_reasons(look.site.pk, ids).items()
    }


def _locked_for(look: Look, orders: Iterable[WorkOrder]) -> dict[int, set[int]]:
    """Whose own locks keep water from each place whose work needs one: 6 queries."""
    places = {o.place_id for o in orders if o.standing_order and o.standing_order.needs_lock}
    by_owner = defaultdict(list)
    for lock in open_locks(look.site.pk):
        if lock.owner_id in look.worker_of_actor:
            by_owner[look.worker_of_actor[lock.owner_id].pk].append(lock)
    ways, timers = load_water_ways(look.site.pk), read_timers(look.site.pk)
    found: dict[int, set[int]] = defaultdict(set)
    for worker_id, locks in by_owner.items():
        for place_id in places:
            if ways.is_isolated(place_id, locks, timers):
                found[place_id].add(worker_id)
    return found


def _job(look: Look, order: WorkOrder) -> Body:
    rule = order.standing_order
    return {
        "title": both(order.title),
        "place": look.name(order.place_id),
        "place_id": order.place_id,
        "amount": order.amount,
        "starts_after": time_of(order.starts_after),
        "due_at": time_of(order.due_at),
        "version": order.version,
        "status": order.status,
        "outcome": order.outcome,
        "is_begun": order.started_at is not None,
        "n_left": order.n_left,
        "loads": order.loads,
        "counts_loads": order.batch_step == "bedded" or order.place.kind == PlaceKind.LANE,
        "goes_to": _goes_to(order),
        "batch": order.batch_id,
        "how": both(rule.how if rule else {}),
        "caution": both(rule.caution if rule else {}),
        "needs_lock": bool(rule and rule.needs_lock),
    }


def _goes_to(order: WorkOrder) -> str:
    """Kind of place to ask for; work in a pen beds that pen."""
    kind = GOES_TO.get(order.batch_step, "")
    return "" if kind == order.place.kind else kind


# Problems ----------------------------------------------------------------------------------------


def _problems(look: Look) -> Iterator[Document]:
    """What nobody has answered, for the leads and for whoever reported it: up to 6 queries."""
    problems = list(open_problems(look.site.pk))
    shown = _shown(look, SubjectKind.PROBLEM, [problem.pk for problem in problems])
    for problem in problems:
        body: Body = {
            "problem": problem.pk,
            "defect": None,
            "text": problem.text,
            "place_id": problem.place_id,
            "place": look.name(problem.place_id),
            "machine": None,
            "reported_by": problem.reported_by.name,
            "reported_at": time_of(problem.reported_at),
            "is_safety": problem.is_safety,
            "attachments": shown[problem.pk],
        }
        yield from _reported(look, str(problem.pk), problem.reported_by, body)
    rows = Defect.objects.filter(site=look.site, closed_at=None)
    defects = list(rows.select_related("reported_by", "machine").order_by("reported_at", "pk"))
    shown = _shown(look, SubjectKind.DEFECT, [defect.pk for defect in defects])
    for defect in defects:
        body = {
            "problem": None,
            "defect": defect.pk,
            "text": defect.text,
            "place_id": None,
            "place": look.name(None),
            "machine": {"id": defect.machine_id, "name": defect.machine.name},
            "reported_by": defect.reported_by.name,
            "reported_at": time_of(defect.reported_at),
            "is_safety": defect.is_safety,
            "attachments": shown[defect.pk],
        }
        yield from _reported(look, f"defect-{defect.pk}", defect.reported_by, body)


def _shown(look: Look, kind: SubjectKind, ids: list[int]) -> dict[int, list[str]]:
    """Give the photos and voice notes that have arrived, by what they are about: 2 queries."""
    found = attachments_of(look.site.pk, kind, ids)
    return {pk: [str(one.pk) for one in found.get(pk, ())] for pk in ids}


def _reported(look: Look, key: str, by: Actor, body: Body) -> Iterator[Document]:
    yield Document(LEADS, "problem", key, body)
    worker = look.worker_of_actor.get(by.pk)
    if worker is not None:
        yield Document(worker_scope(worker.pk), "problem", key, body)


# What a lead must look at ------------------------------------------------------------------------


def _looks(look: Look) -> Iterator[Document]:
    """Events that were refused, and reports that ask for a decision: 2 queries."""
    refused = Event.objects.filter(
        site=look.site,
        state=EventState.REFUSED,
        looked_at=None,
        received_at__gt=look.now - LOOKED_BACK,
    )
    rows = refused.select_related("actor").defer("payload")  # a phone's own, of any shape
    for event in rows.order_by("received_at", "pk"):
        yield _look(str(event.pk), event.actor, event.kind, event.received_at, _said(event))
    asked = WorkOrder.objects.filter(site=look.site).exclude(needs_decision="")
    for order in asked.select_related("ended_by", "started_by", "place").order_by("pk"):
        by = order.ended_by or order.started_by
        line = _asked(look, order)
        yield _look(f"work-{order.pk}", by, order.needs_decision, order.updated_at, line)


def _look(key: str, by: Actor | None, kind: str, at: Any, say: Callable[[], str]) -> Document:
    body = {
        "who": by.name if by else "",
        "kind": kind,
        "at": time_of(at),
        "line": in_both(say),
        "answers": [
            {"code": code, "words": in_both(words.__str__)} for code, words in ANSWERS.items()
        ],
    }
    return Document(LEADS, "look", key, body)


def _said(event: Event) -> Callable[[], str]:
    """Say what was told and, in the words that the teller got, why it was not taken."""

    def say() -> str:
        what = str(TOLD.get(event.kind, event.kind))
        why = event.answer.get("detail", "")
        return gettext("%(what)s was not taken: %(why)s") % {"what": what, "why": why}

    return say


def _asked(look: Look, order: WorkOrder) -> Callable[[], str]:
    names = look.name(order.place_id)

    def say() -> str:
        place = names[current_language()]
        return f"{say_title(order)}, {place}. {say_decision(order.needs_decision)}"

    return say
