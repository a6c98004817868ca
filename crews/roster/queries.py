"""Reads of the roster: who is on, who has which pens."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import connection
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


# Skills count on the day of the shift; a night's hours lie on both of its days.
_HOURS = """
WITH day AS (
    SELECT opens, closes, n - 1 AS n
    FROM unnest(%(opens)s::timestamptz[], %(closes)s::timestamptz[])
        WITH ORDINALITY AS day(opens, closes, n)
)
SELECT day.n, held.skills, sum(extract(epoch FROM
    least(shift.ends_at, day.closes) - greatest(shift.starts_at, day.opens)) / 60)
FROM crews_shift AS shift
JOIN day ON shift.starts_at < day.closes AND shift.ends_at > day.opens
CROSS JOIN LATERAL (
    SELECT coalesce(array_agg(skill.key ORDER BY skill.key), '{}') AS skills
    FROM crews_workerskill AS one
    JOIN crews_skill AS skill ON skill.id = one.skill_id
    WHERE one.worker_id = shift.worker_id AND one.from_on <= shift.local_date
        AND (one.until_on IS NULL OR one.until_on > shift.local_date)
) AS held
WHERE shift.site_id = %(site)s AND shift.presence = ANY(%(working)s)
GROUP BY 1, 2
ORDER BY 1, 2
"""


@dataclass(frozen=True, slots=True)
class SkillHours:
    """Minutes on shift, on one day, of all people who hold the same skills."""

    n_day: int
    skills: frozenset[str]
    shift_min: float


def hours_by_skills(
    site_id: int, days: Sequence[tuple[datetime, datetime]], now: datetime
) -> list[SkillHours]:
    """Minutes that people are on shift by day and skills held, nobody named: 1 query.

    The first day is what is left of it from `now` on.
    """
    facts: dict[str, Any] = {
        "site": site_id,
        "opens": [max(opens, now) for opens, _closes in days],
        "closes": [closes for _opens, closes in days],
        "working": list(WORKING),
    }
    with connection.cursor() as cursor:
        cursor.execute(_HOURS, facts)
        rows = cursor.fetchall()
    return [SkillHours(n, frozenset(skills), float(minutes)) for n, skills, minutes in rows]
