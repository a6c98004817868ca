"""Wall board: where do I go first? For a screen in the break room, read at three metres."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from schedules.dayplan.queries import assignment_of, orders_between
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import visits_between
from schedules.work.models import Status, WorkOrder

from .base import Desk
from .heat_words import heat_words
from .orders import OrderLine, is_open, order_line
from .paper import a_line, two_lines, word_line
from .reasons import names_for
from .sheet import CAUTION
from .water import LockLine, lock_lines
from .wording import say_said

BACK, AHEAD = timedelta(hours=12), timedelta(hours=3)
N_JOBS, N_LATE, N_BELOW = 6, 2, 3  # a board is not scrolled
HEADS = (gettext_lazy("Before"), gettext_lazy("Job"), gettext_lazy("Who"))


@dataclass(frozen=True, slots=True)
class WallJob:
    """One job in both languages: before when, what and where, who has it, how it stands."""

    before: str
    words: list[str]
    who: str
    state: str
    kind: str


def wall_context(desk: Desk) -> dict[str, Any]:
    """Put the board together: 14 queries, however much work there is."""
    orders = [
        order
        for order in orders_between(desk.site_id, desk.now - BACK, desk.now + AHEAD)
        if is_open(order) and assignment_of(order)
    ]
    names = names_for(desk.site_id, orders)
    lines = [order_line(desk, order, [], names) for order in orders]
    soon = [line for line in lines if line.starts_at and line.starts_at < desk.now + AHEAD]
    late = [line for line in soon if line.is_late]
    shown = [*late[-N_LATE:], *(line for line in soon if not line.is_late)][:N_JOBS]
    heat = heat_words(desk)
    return {
        "jobs": [_job(desk, line) for line in shown],
        "more": a_line(desk, lambda _d: _say_more(len(soon) - len(shown))),
        "heads": [word_line(desk, head) for head in HEADS],
        "title": a_line(desk, lambda _d: _("Where to go first")),
        "as_of": a_line(desk, lambda d: _("as of %s") % d.clock(d.now)),
        "day_words": a_line(desk, lambda d: d.day(d.now)),
        "nothing": two_lines(desk, lambda _d: _("No job is planned for the next three hours.")),
        "stale": two_lines(desk, _stale),
        "caution": list(CAUTION.values()),
        "away": _away(desk),
        "locks": [a_line(desk, partial(_say_lock, line)) for line in lock_lines(desk)[:N_BELOW]],
        "heat": heat if heat and heat.is_warning else None,
    }


def _say_more(n: int) -> str:
    return ngettext("and %d more job", "and %d more jobs", n) % n if n else ""


def _stale(desk: Desk) -> str:
    return _("OLD. The service does not answer. This is from %s.") % desk.clock(desk.now)


def _job(desk: Desk, line: OrderLine) -> WallJob:
    order = line.order
    return WallJob(
        before=desk.clock(order.due_at),
        words=two_lines(
            desk, lambda d: f"{say_said(order.title, d.language)} {d.place(order.place)}"
        ),
        who=" · ".join(filter(None, (line.who, line.machine))),
        state=a_line(desk, lambda _d: _say_state(order, is_late=line.is_late)),
        kind="late" if line.is_late else line.state_class,
    )


def _say_state(order: WorkOrder, *, is_late: bool) -> str:
    if is_late:
        return _("Late")
    return _("Under way") if order.status == Status.IN_PROCESS else ""


def _away(desk: Desk) -> list[str]:
    """Say which pens are away, and when the first cow is back."""
    visits = visits_between(desk.site_id, desk.now, desk.now + timedelta(seconds=1))
    return [a_line(desk, partial(_say_away, visit)) for visit in list(visits)[:N_BELOW]]


def _say_away(visit: PenVisit, desk: Desk) -> str:
    told = {"pen": desk.place(visit.pen.place), "at": desk.clock(visit.first_back_at)}
    return _("%(pen)s: cows back from %(at)s") % told


def _say_lock(line: LockLine, desk: Desk) -> str:
    lock = line.lock
    told = {"place": desk.place(lock.place), "who": lock.owner.name, "at": desk.moment(lock.on_at)}
    return _("Locked: %(place)s, %(who)s since %(at)s") % told
