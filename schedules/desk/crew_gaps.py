"""Where the roster falls short in the coming days: rest between shifts, people of a skill."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from crews.people.models import Skill, Worker, WorkerSkill
from crews.roster.calc import shifts as calc
from crews.roster.calc.heads import Shortage, SkillHeld, head_counts, shortages
from crews.roster.queries import working_shifts
from schedules.work.models import WorkOrder
from schedules.work.queries import OPEN

from .base import Desk

REST_AHEAD = timedelta(days=7)
WORK_AHEAD = timedelta(days=2)
RESTS = {
    calc.RestCode.BELOW_WANTED: gettext_lazy(
        "%(name)s rests %(rest).1f h before the shift of %(day)s, %(at)s: %(wanted).0f h are "
        "wanted."
    ),
    calc.RestCode.TOO_SHORT: gettext_lazy(
        "%(name)s rests only %(rest).1f h before the shift of %(day)s, %(at)s: less than "
        "%(least).0f h."
    ),
}


def short_rests(desk: Desk) -> list[str]:
    """Say who rests too little between two shifts of the coming week: 2 queries."""
    # A shift that has ended is the rest's other side.
    shifts = _shifts(desk, desk.now - timedelta(days=1), desk.now + REST_AHEAD)
    names = dict(Worker.objects.filter(site_id=desk.site_id).values_list("pk", "name"))
    return [
        str(RESTS[fault.code])
        % {
            "name": names[int(fault.later.worker)],
            "rest": fault.rest_h,
            "day": desk.day(fault.later.local_date),
            "at": desk.clock(fault.later.start),
            "wanted": calc.REST_WANTED_H,
            "least": calc.REST_LEAST_H,
        }
        for fault in sorted(calc.rest_faults(shifts), key=lambda fault: fault.later.start)
        if fault.later.start > desk.now
    ]


def short_skills(desk: Desk) -> list[str]:
    """Say which shifts of the next two days lack people for work that falls into them: 4 queries.

    A shift needs as many of a skill as its largest piece of work takes at once; whether all of
    the work fits is the plan's to say.
    """
    names = dict(Skill.objects.filter(site_id=desk.site_id).values_list("key", "name"))
    return [_say_shortage(desk, short, names) for short in _shortages(desk)]


def _say_shortage(desk: Desk, short: Shortage, names: dict[str, str]) -> str:
    words = ngettext(
        "%(day)s, %(hours)s: %(n)d person needed for %(skill)s, %(here)d on shift.",
        "%(day)s, %(hours)s: %(n)d people needed for %(skill)s, %(here)d on shift.",
        short.n_needed,
    )
    return words % {
        "day": desk.day(short.start),
        "hours": desk.span(short.start, short.end),
        "n": short.n_needed,
        "skill": names.get(short.skill) or _("any work"),
        "here": short.n_here,
    }


def _shortages(desk: Desk) -> Iterator[Shortage]:
    """Shortages of each shift, a shift being those of the same hours."""
    until = desk.now + WORK_AHEAD
    shifts = [shift for shift in _shifts(desk, desk.now, until) if shift.end > desk.now]
    held = [
        SkillHeld(str(row.worker_id), row.skill.key, row.from_on, row.until_on)
        for row in WorkerSkill.objects.filter(site_id=desk.site_id).select_related("skill")
    ]
    orders = WorkOrder.objects.filter(
        site_id=desk.site_id, status__in=OPEN, starts_after__gte=desk.now, due_at__lte=until
    ).values_list("skill", "n_people", "starts_after", "due_at")
    for start, end in sorted({(shift.start, shift.end) for shift in shifts}):
        need: dict[str, int] = defaultdict(int)
        for skill, n_people, starts_after, due_at in orders:
            if start <= starts_after and due_at <= end:
                need[skill] = max(need[skill], n_people)
        have = head_counts(shifts, held, start, end, int((end - start) / timedelta(minutes=1)))
        yield from shortages({skill: [n] for skill, n in sorted(need.items())}, have)


def _shifts(desk: Desk, start: datetime, end: datetime) -> list[calc.Shift]:
    """Shifts of people who can be counted on: 1 query."""
    return [
        calc.Shift(str(s.worker_id), str(s.pattern_id), s.local_date, s.starts_at, s.ends_at)
        for s in working_shifts(desk.site_id, start, end)
    ]
