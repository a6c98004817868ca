"""How a report becomes the state of a work order: written down first, then all of them added up.

Only the verbs of this room use it, inside their transaction; who tells them says `Teller`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.utils.translation import gettext as _

from equipment.flushing.queries import isolated_places
from equipment.machines.models import Machine
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, ActorKind, Event
from equipment.site.writes import SiteWrite

from .amounts import stalls_in
from .calc.drafts import REST
from .calc.reports import ENDINGS, Said, Standing, Word, add_up, still_said
from .models import UNBOOKED, Outcome, Question, Report, Status, WorkOrder
from .windows import is_outside_window

STATES: Final = {
    Said.DONE: (Status.COMPLETED, Outcome.DONE),
    Said.PART: (Status.COMPLETED, Outcome.PART),
    Said.COULD_NOT: (Status.CANCELLED, Outcome.COULD_NOT),
    Said.CANCELLED: (Status.CANCELLED, Outcome.NOT_NEEDED),
}
STATE_FIELDS = (
    "status",
    "outcome",
    "reason",
    "n_left",
    "started_at",
    "started_by",
    "ended_at",
    "ended_by",
    "loads",
    "needs_decision",
    "version",
    "updated_at",
)


@dataclass(frozen=True, slots=True)
class Teller:
    """Who says it, of when, by which event and with what machine."""

    by: Actor
    at: datetime
    event: Event | None = None
    machine: Machine | None = None


def lock_order(site_id: int, work_order_id: int) -> WorkOrder:
    """Give a work order of the site, locked (FOR NO KEY UPDATE) until the transaction ends."""
    return lock_orders(site_id, [work_order_id], work_order_id)


def lock_orders(site_id: int, ids: Collection[int], work_order_id: int) -> WorkOrder:
    """Lock some work orders in the order of their keys, and give the one that is meant."""
    return _among(_locked(site_id, ids), work_order_id)


def lock_each(site_id: int, ids: Collection[int]) -> dict[int, WorkOrder]:
    """Lock work orders in the order of their keys, and give them by key; each must be there."""
    locked = _locked(site_id, ids)
    return {pk: _among(locked, pk) for pk in ids}


def _locked(site_id: int, ids: Collection[int]) -> dict[int, WorkOrder]:
    rows = WorkOrder.objects.filter(site_id=site_id, pk__in=ids).select_related("standing_order")
    locked = rows.select_for_update(of=("self",), no_key=True).order_by("pk")
    return {row.pk: row for row in locked}


def _among(found: dict[int, WorkOrder], work_order_id: int) -> WorkOrder:
    if work_order_id not in found:
        raise NotFoundError(_("There is no work order %d here.") % work_order_id)
    return found[work_order_id]


def words_of(order: WorkOrder) -> list[Word]:
    """All that was ever said of a work order, in the order it was taken down: 1 query."""
    return words_of_each([order.pk])[order.pk]


def words_of_each(ids: Collection[int]) -> dict[int, list[Word]]:
    """All that was ever said of some work orders, by their keys: 1 query."""
    columns = ("work_order_id", "kind", "by_id", "at", "reason", "n_left", "machine_id")
    rows = Report.objects.filter(work_order_id__in=ids).order_by("id").values_list(*columns)
    words: dict[int, list[Word]] = {pk: [] for pk in ids}
    for pk, kind, *rest in rows:
        words[pk].append(Word(Said(kind), *rest))
    return words


def write_down(
    order: WorkOrder, said: Said, teller: Teller, *, reason: str = "", n_left: int | None = None
) -> None:
    """Add a report; what it means is another matter."""
    report_of(order, said, teller, reason=reason, n_left=n_left).save()


def report_of(
    order: WorkOrder, said: Said, teller: Teller, *, reason: str = "", n_left: int | None = None
) -> Report:
    """Word a report, not yet written."""
    return Report(
        site_id=order.site_id,
        work_order=order,
        kind=said,
        at=teller.at,
        by=teller.by,
        event=teller.event,
        machine=teller.machine,
        reason=reason,
        n_left=n_left,
    )


def is_closed_by_service(order: WorkOrder) -> bool:
    """Whether nobody said it is over: it expired, or its cause went away."""
    closer = order.ended_by
    return (
        order.status == Status.CANCELLED and closer is not None and closer.kind == ActorKind.SERVICE
    )


def stand_by(order: WorkOrder, words: list[Word]) -> None:
    """Set the state that reports add up to; `save_state` writes it."""
    stand_at(order, add_up(words))


def stand_at(order: WorkOrder, standing: Standing) -> None:
    """Set the state of what reports have been added up to."""
    end = standing.end
    order.status, order.outcome = STATES[end.said] if end else (_open_status(standing), "")
    order.reason = end.reason if end else ""
    order.n_left = end.n_left if end else n_left_open(order)
    order.started_at = standing.start.at if standing.start else None
    order.started_by_id = standing.start.by_id if standing.start else None
    order.ended_at = end.at if end else None
    order.ended_by_id = end.by_id if end else None
    order.loads = standing.n_loads


def _open_status(standing: Standing) -> Status:
    return Status.IN_PROCESS if standing.start else Status.NEEDS_ACTION


def n_left_open(order: WorkOrder) -> int | None:
    """What an open work order says is left: only of a rest that was carried over."""
    return stalls_in(order.amount) if REST in order.natural_key else None


def flag(order: WorkOrder, question: Question) -> None:
    """Ask for a person's decision; an earlier question stays the one that is asked.

    But that sand was not booked comes first: whether a word can be taken back rests on it.
    """
    if not order.needs_decision or question in UNBOOKED:
        order.needs_decision = question


def ask_for_lock(order: WorkOrder, since: datetime, until: datetime) -> None:
    """Ask at once about work that needs a lock when none kept the water away."""
    rule = order.standing_order
    if rule is None or not rule.needs_lock:
        return
    place_id = order.place_id
    if not isolated_places(order.site_id, [place_id], since=since, until=until):
        flag(order, Question.LOCK_MISSING)


def save_state(write: SiteWrite, order: WorkOrder, said: str) -> None:
    """Write the state down and tell upper rooms."""
    move_on(write, order, said)
    order.save(update_fields=STATE_FIELDS)


def move_on(write: SiteWrite, order: WorkOrder, said: str) -> None:
    """Give the state, still to be written, its version, and tell upper rooms."""
    order.version += 1
    order.updated_at = write.at
    write.change("work.reported", order.pk, said=said)


def last_word_of(order: WorkOrder, by: Actor) -> Word | None:
    """The newest thing an actor said that still stands: 1 query."""
    own = [word for word in still_said(words_of(order)) if word.by_id == by.pk]
    return own[-1] if own else None


def say(
    write: SiteWrite,
    order: WorkOrder,
    said: Said,
    teller: Teller,
    *,
    reason: str = "",
    n_left: int | None = None,
) -> bool:
    """Write a report down and let it count; False when the same person said the same before."""
    if said in ENDINGS and _said_already(order, said, n_left, teller.by):
        return False
    write_down(order, said, teller, reason=reason, n_left=n_left)
    ask_about(order, said, n_left, teller.at)
    if not is_closed_by_service(order):
        stand_by(order, words_of(order))
    save_state(write, order, said)
    return True


def _said_already(order: WorkOrder, said: Said, n_left: int | None, by: Actor) -> bool:
    word = last_word_of(order, by)
    return word is not None and (word.said, word.n_left) == (said, n_left)


def ask_about(order: WorkOrder, said: Said, n_left: int | None, at: datetime) -> None:
    """Ask a person where a report does not fit what is known; it is taken down all the same."""
    if order.status == Status.CANCELLED:
        if said is not Said.COULD_NOT or order.outcome != Outcome.COULD_NOT:
            flag(order, Question.LATE_REPORT)
    elif order.status == Status.COMPLETED:
        if said in ENDINGS and (said, n_left) != (order.outcome, order.n_left):
            flag(order, Question.REPORTS_DIFFER)
    elif said in (Said.STARTED, Said.DONE, Said.PART) and is_outside_window(order, at):
        flag(order, Question.OUTSIDE_WINDOW)
