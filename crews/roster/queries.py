"""Reads of the roster: who is on, who has which pens."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import QuerySet

from .models import CrewPens, Presence, Shift


def shifts_between(site_id: int, start: datetime, end: datetime) -> QuerySet[Shift]:
    """Shifts that meet a span, people expected, here, sick or on leave: 1 query."""
    return (
        Shift.objects.filter(site_id=site_id, starts_at__lt=end, ends_at__gt=start)
        .select_related("worker__crew", "worker__actor", "pattern")
        .order_by("starts_at", "worker__name")
    )


def working_shifts(site_id: int, start: datetime, end: datetime) -> QuerySet[Shift]:
    """Shifts of people who can be counted on: 1 query."""
    return shifts_between(site_id, start, end).filter(
        presence__in=[Presence.EXPECTED, Presence.HERE]
    )


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
