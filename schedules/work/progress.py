"""What people say of work: started, done, part, could not, a load, taken back; and of trouble.

A true fact is never lost: a report that comes after the work was closed is kept, and a person
is asked to decide (`needs_decision`).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from equipment.machines.models import Machine, ServiceRecord
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event, HoldSubject, Place
from equipment.site.queries import open_holds
from equipment.site.rows import insert_rows, update_rows
from equipment.site.writes import SiteWrite, site_write
from schedules.errors import (
    AlreadyUnderWayError,
    CannotUndoError,
    CountNeededError,
    NothingToUndoError,
    ReasonNeededError,
    ServiceRecordNeededError,
    UndoTooLateError,
    WaitingOnError,
    WorkOrderClosedError,
)

from .amounts import stalls_in
from .booking import book_sand, has_booked_sand, is_scoop, needs_lead, scoop
from .calc.reports import ENDINGS, Said, Word, add_up, still_said, with_load
from .carry import carry_rest, take_back_rest
from .followers import follow, follower_ids
from .models import Outcome, Problem, Question, Report, Status, WorkOrder
from .queries import say_title, waiting_reasons
from .telling import (
    STATE_FIELDS,
    Teller,
    ask_about,
    ask_for_lock,
    flag,
    is_closed_by_service,
    last_word_of,
    lock_each,
    lock_order,
    lock_orders,
    move_on,
    report_of,
    save_state,
    say,
    stand_at,
    stand_by,
    words_of,
    words_of_each,
    write_down,
)

UNDO = timedelta(minutes=10)  # longer, and others have planned on it; common practice, no source
SAID = {Outcome.DONE: Said.DONE, Outcome.PART: Said.PART, Outcome.COULD_NOT: Said.COULD_NOT}


def start_work(
    *,
    site_id: int,
    work_order_id: int,
    by: Actor,
    at: datetime,
    event: Event | None = None,
    machine: Machine | None = None,
) -> WorkOrder:
    """Say that one has begun. Saying it twice changes nothing.

    Refused: closed before `at`, enough others on it, waiting on other work, on a hold of its pen
    or batch, or on the machine it was to be done with. Begun without the lock it needs, it is
    flagged and not refused: who tells it may be in the water's way already.
    """
    teller = Teller(by, at, event, machine)
    with site_write(site_id, at) as write:
        order = lock_order(site_id, work_order_id)
        if _has_begun(order, by):
            return order
        _refuse_closed(order, at)
        if order.status == Status.IN_PROCESS:
            _refuse_enough(order)
        if order.status == Status.NEEDS_ACTION:
            _refuse_waiting(order, machine, at)
        ask_for_lock(order, at, at)
        say(write, order, Said.STARTED, teller)
    return order


def _has_begun(order: WorkOrder, by: Actor) -> bool:
    return order.status == Status.IN_PROCESS and by.pk in _starters(order)


def _starters(order: WorkOrder) -> set[int]:
    said = still_said(words_of(order))
    return {word.by_id for word in said if word.said in (Said.STARTED, Said.LOAD)}


def _refuse_closed(order: WorkOrder, at: datetime) -> None:
    """A start before the end came late by radio and is true; one after it is a mistake."""
    if order.status == Status.COMPLETED and order.ended_at and at > order.ended_at:
        who = order.ended_by.name if order.ended_by else ""
        raise WorkOrderClosedError(
            _("%(work)s was closed by %(who)s. Look for the next one.")
            % {"work": say_title(order), "who": who}
        )


def _refuse_enough(order: WorkOrder) -> None:
    if len(_starters(order)) >= order.n_people:
        who = order.started_by.name if order.started_by else ""
        raise AlreadyUnderWayError(
            _("%(who)s is already on %(work)s. Take another job, or ask the lead.")
            % {"who": who, "work": say_title(order)}
        )


def _refuse_waiting(order: WorkOrder, machine: Machine | None, at: datetime) -> None:
    names = [
        reason.name for reason in waiting_reasons(order.site_id, [order.pk], at).get(order.pk, [])
    ]
    if machine is not None and _is_held(machine):
        names.append(machine.name)
    if names:
        raise WaitingOnError(
            _("%(work)s waits on %(names)s.")
            % {"work": say_title(order), "names": ", ".join(names)}
        )


def _is_held(machine: Machine) -> bool:
    holds = open_holds(machine.site_id, HoldSubject.MACHINE)
    return holds.filter(subject_id=machine.pk).exists()


def finish_work(
    *,
    site_id: int,
    work_order_id: int,
    outcome: Outcome | str,
    by: Actor,
    at: datetime,
    n_left: int | None = None,
    reason: str = "",
    to_place_id: int | None = None,
    event: Event | None = None,
    machine: Machine | None = None,
) -> WorkOrder:
    """Say what came of it: done, part, could not. Done by two is one completion, two witnesses.

    What is left of part done bed work is carried to what remains of its gap, else its stalls are
    missed. The step of a batch is booked on the sand ledger (`to_place_id` says where it went).
    Work that follows is re-timed. Refused: no reason or no count where one is needed, a service
    without its record.
    """
    teller = Teller(by, at, event, machine)
    said = SAID[Outcome(outcome)]
    with site_write(site_id, at) as write:
        order = lock_orders(site_id, [work_order_id, *follower_ids(work_order_id)], work_order_id)
        _refuse_incomplete(order, said, reason, n_left)
        was_open = order.status in (Status.NEEDS_ACTION, Status.IN_PROCESS)
        if was_open and said is not Said.COULD_NOT:
            _ask_first(order, said, teller)
        left = n_left if said is Said.PART else None
        if not say(write, order, said, teller, reason=reason, n_left=left) or not was_open:
            return order
        if said is Said.PART:
            carry_rest(write, order)
        if question := book_sand(order, teller, to_place_id):
            flag(order, question)
            order.save(update_fields=["needs_decision"])
        follow(write, order)
    return order


def _refuse_incomplete(order: WorkOrder, said: Said, reason: str, n_left: int | None) -> None:
    n_stalls = stalls_in(order.amount)
    if said is Said.COULD_NOT and not reason.strip():
        raise ReasonNeededError(_("Say why it could not be done."))
    if said is Said.PART and n_stalls and not 1 <= (n_left or 0) <= n_stalls:
        raise CountNeededError(_("Say how many stalls are left, from 1 to %d.") % n_stalls)
    if said is Said.DONE and order.service_item_id is not None:
        _refuse_unrecorded(order)


def _refuse_unrecorded(order: WorkOrder) -> None:
    records = ServiceRecord.objects.filter(
        machine=order.for_machine, item=order.service_item, cycle=order.cycle or 0
    )
    if not records.exists():
        raise ServiceRecordNeededError(
            _("Record the service with its meter reading: that closes the job.")
        )


def _ask_first(order: WorkOrder, said: Said, teller: Teller) -> None:
    """Ask a person about what should have come before the work, or is not the teller's to say."""
    if said is Said.DONE and needs_lead(order, teller.by):
        flag(order, Question.RELEASE_NEEDS_LEAD)
    if order.status == Status.NEEDS_ACTION:
        ask_for_lock(order, min(order.starts_after, teller.at), teller.at)
    if _was_waiting(order, teller.at):
        flag(order, Question.DONE_WHILE_WAITING)


def _was_waiting(order: WorkOrder, at: datetime) -> bool:
    return bool(waiting_reasons(order.site_id, [order.pk], at))


def add_load(
    *,
    site_id: int,
    work_order_id: int,
    by: Actor,
    at: datetime,
    event: Event | None = None,
    machine: Machine | None = None,
) -> WorkOrder:
    """Count one load more, as `add_loads` does."""
    load = (work_order_id, Teller(by, at, event, machine))
    [(order, _n)] = add_loads(site_id=site_id, loads=[load])
    return order


def add_loads(*, site_id: int, loads: Sequence[tuple[int, Teller]]) -> list[tuple[WorkOrder, int]]:
    """Count loads, each of a work order's key, in the order given; give the orders and counts.

    Never refused. The first one starts the work. Buckets from a lane are booked when the work is
    closed; one told later, at once. 4 queries for all, and what booking takes.
    """
    with site_write(site_id, loads[-1][1].at) as write:
        ids = list(dict.fromkeys(pk for pk, _teller in loads))
        count = _Count(write, lock_each(site_id, ids))
        counted = [count.add(pk, teller) for pk, teller in loads]
        insert_rows(count.unwritten)
        update_rows(list(count.orders.values()), STATE_FIELDS)
    return counted


class _Count:
    """Work orders whose loads are counted, and what is still to be written of them."""

    def __init__(self, write: SiteWrite, orders: dict[int, WorkOrder]) -> None:
        self.write, self.orders = write, orders
        self.standings = {pk: add_up(words) for pk, words in words_of_each(orders).items()}
        self.unwritten: list[Report] = []

    def add(self, work_order_id: int, teller: Teller) -> tuple[WorkOrder, int]:
        """Count one load more; give its work order and the count."""
        order = self.orders[work_order_id]
        if order.status == Status.NEEDS_ACTION:
            ask_for_lock(order, teller.at, teller.at)
        self.unwritten.append(report_of(order, Said.LOAD, teller))
        ask_about(order, Said.LOAD, None, teller.at)
        if not is_closed_by_service(order):
            word = Word(Said.LOAD, teller.by.pk, teller.at)
            self.standings[order.pk] = with_load(self.standings[order.pk], word)
            stand_at(order, self.standings[order.pk])
        move_on(self.write, order, Said.LOAD)
        if order.status == Status.COMPLETED and is_scoop(order):
            self._book(order, teller)
        return order, order.loads

    def _book(self, order: WorkOrder, teller: Teller) -> None:
        """Book a load told late; that looks at the reports up to it."""
        insert_rows(self.unwritten)
        self.unwritten = []
        scoop(order, teller, 1)


def undo_report(
    *, site_id: int, work_order_id: int, by: Actor, at: datetime, event: Event | None = None
) -> WorkOrder:
    """Take back one's own last word, within ten minutes.

    Refused: nothing said, too late, its rest was begun, or its sand is booked.
    """
    with site_write(site_id, at) as write:
        order = lock_order(site_id, work_order_id)
        word = last_word_of(order, by)
        if word is None:
            raise NothingToUndoError(_("There is nothing of yours to take back."))
        if at - word.at > UNDO:
            raise UndoTooLateError(_("That was more than ten minutes ago. Ask the lead."))
        closed_it = word.said in ENDINGS and order.ended_by_id == by.pk
        late_load = word.said is Said.LOAD and order.status == Status.COMPLETED
        if (closed_it or late_load) and has_booked_sand(order):
            raise CannotUndoError(_("The sand is booked. Put it right on the sand page."))
        if closed_it and word.said is Said.PART:
            take_back_rest(write, order)
        write_down(order, Said.UNDONE, Teller(by, at, event))
        _after_undo(order)
        save_state(write, order, Said.UNDONE)
    return order


def _after_undo(order: WorkOrder) -> None:
    words = words_of(order)
    if not still_said(words):
        order.needs_decision = ""
    if not is_closed_by_service(order):
        stand_by(order, words)


def report_problem(
    *,
    site_id: int,
    place_id: int | None,
    text: str,
    by: Actor,
    at: datetime,
    event: Event | None = None,
    is_safety: bool = False,
) -> Problem:
    """Tell that something is wrong somewhere; it stays on the board until somebody answers.

    `is_safety`: it could hurt someone.
    """
    if not text.strip():
        raise ReasonNeededError(_("Say what is wrong."))
    with site_write(site_id, at) as write:
        if place_id is not None and not Place.objects.filter(site=site_id, pk=place_id).exists():
            raise NotFoundError(_("There is no such place here."))
        problem = Problem.objects.create(
            site_id=site_id,
            place_id=place_id,
            text=text,
            is_safety=is_safety,
            reported_by=by,
            reported_at=at,
            event=event,
        )
        write.touch()
    return problem
