"""Wishes of a week on the roster page: who would like what, and whether it is so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.http import HttpResponse
from django.utils.translation import gettext as _

from crews.roster.build import Facts
from crews.roster.calc.solution import Assignment
from crews.roster.models import ShiftWish
from crews.roster.services import wish_shift
from crews.roster.words import Names

from .base import Desk, desk_view
from .forms import read_key
from .roster_actions import back_to_week, read_date

NO_WISH = "none"


@dataclass(frozen=True, slots=True)
class WishLine:
    """One wish, with what the roster that is shown makes of it."""

    words: str
    is_kept: bool


def wish_lines(
    desk: Desk, facts: Facts, names: Names, shown: Iterable[Assignment]
) -> list[WishLine]:
    """Give the wishes of the days shown, by day and name. No query."""
    has = {(a.person, a.on): a.kind for a in shown}
    workers = {worker.pk: worker for worker in facts.workers}
    kinds = facts.kinds.of_pattern
    found = []
    mine = [row for row in facts.wishes if row.local_date in facts.days]
    for wish in sorted(mine, key=lambda row: (row.local_date, row.worker_id)):
        worker = workers.get(wish.worker_id)
        kind = kinds.get(wish.pattern_id) if wish.pattern_id else None
        if worker is not None and (kind or wish.pattern_id is None):
            is_kept = has.get((worker.key, wish.local_date)) == kind
            found.append(WishLine(_wish_words(desk, wish, worker.name, kind, names), is_kept))
    return found


def _wish_words(desk: Desk, wish: ShiftWish, name: str, kind: str | None, names: Names) -> str:
    facts = {"name": name, "day": desk.day(wish.local_date)}
    if kind is None:
        return _("%(name)s would like %(day)s free.") % facts
    return _("%(name)s would like %(shift)s on %(day)s.") % {**facts, "shift": names.kinds[kind]}


@desk_view
def say_wish(desk: Desk) -> HttpResponse:
    """Keep a wish, or take it back."""
    desk.require_lead()
    posted = desk.request.POST
    on = read_date(desk, "on", _("Day"))
    asked = posted.get("pattern", "")
    is_wished = wish_shift(
        site_id=desk.site_id,
        worker_id=read_key(posted, "worker", _("Person")),
        local_date=on,
        pattern_id=read_key(posted, "pattern", _("Shift")) if asked not in ("", NO_WISH) else None,
        is_taken_back=asked == NO_WISH,
        at=desk.now,
    )
    words = _("The wish is kept for the next roster.") if is_wished else _("The wish is gone.")
    return back_to_week(desk, words, on)
