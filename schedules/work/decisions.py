"""What a lead decides: work called off, late reports let count or left, problems answered."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event
from equipment.site.writes import site_write
from schedules.errors import NoDecisionError, ReasonNeededError, WorkOrderClosedError

from .booking import book_sand, needs_lead
from .calc.reports import Said
from .followers import follow, follower_ids
from .models import Problem, Question, Status, WorkOrder
from .queries import say_title
from .telling import (
    Teller,
    flag,
    is_closed_by_service,
    lock_orders,
    save_state,
    say,
    stand_by,
    words_of,
    write_down,
)


def cancel_work(
    *,
    site_id: int,
    work_order_id: int,
    reason: str,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> WorkOrder:
    """Call work off, by a lead and with a reason. What was called off before stays so."""
    if not reason.strip():
        raise ReasonNeededError(_("Say why it is not needed."))
    with site_write(site_id, at) as write:
        order = lock_orders(site_id, [work_order_id, *follower_ids(work_order_id)], work_order_id)
        if order.status == Status.COMPLETED:
            raise WorkOrderClosedError(_("%s is done already.") % say_title(order))
        if order.status != Status.CANCELLED:
            say(write, order, Said.CANCELLED, Teller(by, at, event), reason=reason)
            follow(write, order)
    return order


def settle_decision(
    *, site_id: int, work_order_id: int, accept: bool, by: Actor, at: datetime, reason: str = ""
) -> WorkOrder:
    """Answer what was asked of a person: let the late report count, or leave things as they are.

    Sand that a worker called cured or released is so once a lead lets that count: in their name.
    """
    with site_write(site_id, at) as write:
        order = lock_orders(site_id, [work_order_id, *follower_ids(work_order_id)], work_order_id)
        if not order.needs_decision:
            raise NoDecisionError(_("Nothing of %s waits for a decision.") % say_title(order))
        judge = Teller(by, at)
        is_late, asked = is_closed_by_service(order), order.needs_decision
        said = Said.DISMISSED if is_late and not accept else Said.ACCEPTED
        write_down(order, said, judge, reason=reason)
        order.needs_decision = ""
        if is_late and accept:
            _let_count(order, judge)
        elif accept and asked == Question.RELEASE_NEEDS_LEAD:
            _book(order, judge)
        save_state(write, order, said)
        follow(write, order)
    return order


def _let_count(order: WorkOrder, judge: Teller) -> None:
    """Give the order the state that its late reports add up to, with what follows for sand."""
    stand_by(order, words_of(order))
    if order.ended_by is None or order.ended_at is None:
        return
    is_judges = needs_lead(order, order.ended_by)
    _book(order, judge if is_judges else Teller(order.ended_by, order.ended_at))


def _book(order: WorkOrder, teller: Teller) -> None:
    if question := book_sand(order, teller, None):
        flag(order, question)


def answer_problem(
    *, site_id: int, problem_id: int, answer: str, by: Actor, at: datetime
) -> Problem:
    """Say what was done about a problem; the first answer stands."""
    if not answer.strip():
        raise ReasonNeededError(_("Say what was done about it."))
    with site_write(site_id, at) as write:
        rows = Problem.objects.select_for_update(no_key=True).filter(site_id=site_id, pk=problem_id)
        problem = rows.first()
        if problem is None:
            raise NotFoundError(_("There is no such problem here."))
        if problem.answered_at is None:
            problem.answer, problem.answered_by, problem.answered_at = answer, by, at
            problem.save(update_fields=["answer", "answered_by", "answered_at"])
            write.touch()
    return problem
