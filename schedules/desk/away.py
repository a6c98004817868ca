"""Pens that are away: who is on their beds, and will they be done before the cows are back?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from schedules.rounds.models import PenVisit
from schedules.work.models import Outcome

from .base import Desk
from .orders import OrderLine, is_open

SOON = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class AwayCard:
    """One pen that is away or called soon: the verdict first."""

    pen: str
    when: str
    verdict: str
    is_short: bool
    rows: str
    who: str
    lines: list[OrderLine]


def away_cards(
    desk: Desk, visits: Iterable[PenVisit], lines: Sequence[OrderLine]
) -> list[AwayCard]:
    """Give the pens away now; when none is, the next one called within half an hour."""
    of_visit: dict[int | None, list[OrderLine]] = defaultdict(list)
    for line in lines:
        of_visit[line.order.visit_id].append(line)
    to_come = [v for v in visits if v.last_back_at > desk.now]
    away = [v for v in to_come if v.called_at <= desk.now]
    soon = [v for v in to_come if v.called_at - SOON <= desk.now]
    return [_card(desk, visit, of_visit[visit.pk]) for visit in away or soon[:1]]


def _card(desk: Desk, visit: PenVisit, lines: list[OrderLine]) -> AwayCard:
    beds = [line for line in lines if line.is_bed_work]
    verdict, is_short = _verdict(desk, visit, beds)
    return AwayCard(
        pen=desk.place(visit.pen.place),
        when=_when(desk, visit),
        verdict=verdict,
        is_short=is_short,
        rows=_rows_done(beds),
        who=", ".join(dict.fromkeys(line.who for line in beds if line.who)),
        lines=beds,
    )


def _when(desk: Desk, visit: PenVisit) -> str:
    back = desk.span(visit.first_back_at, visit.last_back_at)
    if visit.called_at > desk.now:
        return _("called %(at)s, cows back %(back)s") % {
            "at": desk.clock(visit.called_at),
            "back": back,
        }
    return _("cows back %s") % back


def _rows_done(beds: list[OrderLine]) -> str:
    n_done = sum(line.order.outcome == Outcome.DONE for line in beds)
    words = ngettext(
        "%(n_done)d of %(n)d row of beds done", "%(n_done)d of %(n)d rows of beds done", len(beds)
    )
    return words % {"n_done": n_done, "n": len(beds)}


def _verdict(desk: Desk, visit: PenVisit, beds: list[OrderLine]) -> tuple[str, bool]:
    """Say whether the beds are done before the cows are back, and whether that is not so."""
    still = [line for line in beds if is_open(line.order)]
    if not beds:
        return _("No work on its beds at this visit."), False
    nobody = sum(not line.who for line in still)
    if nobody:
        said = ngettext("%d row has nobody.", "%d rows have nobody.", nobody)
        return said % nobody, True
    if not still:
        return _("Nothing is left to do."), any(line.order.outcome != Outcome.DONE for line in beds)
    return _in_time(desk, visit, still)


def _in_time(desk: Desk, visit: PenVisit, still: list[OrderLine]) -> tuple[str, bool]:
    """Compare the last job's planned end, or now when it is past, with the rows' closing."""
    worst = max(still, key=lambda line: max(line.ends_at or desk.now, desk.now) - line.order.due_at)
    ends_at = max(worst.ends_at or desk.now, desk.now)
    over_min = (ends_at - worst.order.due_at) / timedelta(minutes=1)
    facts = {
        "ends": desk.clock(ends_at),
        "closes": desk.clock(worst.order.due_at),
        "min": f"{over_min:,.0f}",
    }
    if over_min > 0:
        words = _("%(min)s min short: work ends %(ends)s, the beds close %(closes)s.")
        return words % facts, True
    return _("In time: work ends %(ends)s, the beds close %(closes)s.") % facts, False
