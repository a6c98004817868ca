"""Reads of the roster: who is on, who has which pens."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import Q, QuerySet

from .models import (
    WORKING,
    CrewPens,
    DayByHand,
    RosterRun,
    RosterState,
    Shift,
    SwapRequest,
    SwapState,
)


def shifts_between(site_id: int, start: datetime, end: datetime) -> QuerySet[Shift]:
    """Shifts that meet a span, people expected, here, sick or on leave: 1 query."""
    return (
        Shift.objects.filter(site_id=site_id, starts_at__lt=end, ends_at__gt=start)
        .select_related("worker__crew", "worker__actor", "pattern")
        .order_by("starts_at", "worker__name")
    )


def working_shifts(site_id: int, start: datetime, end: datetime) -> QuerySet[Shift]:
    """Shifts of people who can be counted on: 1 query."""
    return shifts_between(site_id, start, end).filter(presence__in=WORKING)


def days_by_hand(site_id: int, from_on: date, until_on: date) -> dict[tuple[int, date], DayByHand]:
    """Days changed by hand, by worker and date, but for shifts not in use any more: 1 query."""
    rows = DayByHand.objects.filter(site_id=site_id, worker__retired_at=None)
    rows = rows.filter(local_date__gte=from_on, local_date__lt=until_on)
    in_use = rows.filter(pattern__retired_at=None).select_related("pattern")
    return {(row.worker_id, row.local_date): row for row in in_use}


def crews_of_pens(site_id: int, dates: Iterable[date]) -> dict[tuple[int, int, date], int]:
    """Crew by (shift pattern, pen, local date), a date's own entry first: 1 query."""
    wanted = list(dates)
    rows = list(CrewPens.objects.filter(site_id=site_id))
    found = {
        (r.pattern_id, r.pen_id, day): r.crew_id
        for r in rows
        if r.local_date is None
        for day in wanted
    }
    found.update(
        {
            (r.pattern_id, r.pen_id, r.local_date): r.crew_id
            for r in rows
            if r.local_date is not None and r.local_date in wanted
        }
    )
    return found


def rosters_of(site_id: int, from_on: date, until_on: date) -> list[RosterRun]:
    """Rosters not given up that meet a period, and the one being made, newest first: 1 query."""
    meets = Q(from_on__lt=until_on, until_on__gt=from_on)
    rows = RosterRun.objects.filter(site_id=site_id).exclude(state=RosterState.CANCELLED)
    rows = rows.filter(meets | Q(state=RosterState.SOLVING)).defer("problem")
    return list(rows.order_by("-pk")[:20])


def open_swaps(site_id: int) -> list[SwapRequest]:
    """Swaps that wait for an answer, the first asked first: 1 query."""
    rows = SwapRequest.objects.filter(site_id=site_id, state=SwapState.ASKED)
    return list(rows.select_related("worker", "to_worker"))
