"""Crew: who is here, who may drive what, who has which pens."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from crews.devices.models import Device
from crews.people.models import Crew, Skill
from crews.people.queries import skills_expiring, skills_on
from crews.roster.models import Presence, Shift, ShiftPattern
from crews.roster.queries import crews_of_pens, shifts_between
from equipment.barns.models import Pen
from equipment.site.calc.local_time import local_date_of, resolve
from schedules.dayplan.models import Claim

from .base import Desk
from .calendars import crew_links
from .crew_gaps import short_rests, short_skills
from .handovers import handover_lines
from .pens import pens_of


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person of a shift."""

    shift: Shift
    hours: str
    skills: str
    job: str
    n_jobs: int


@dataclass(frozen=True, slots=True)
class CrewLine:
    """A crew's people on one shift."""

    name: str
    pattern: str
    people: list[PersonLine]


@dataclass(frozen=True, slots=True)
class ShiftBoard:
    """The shifts of the same hours with their people by crew."""

    hours: str
    is_running: bool
    n_counted: int
    crews: list[CrewLine]
    away: list[Shift]


def shift_boards(desk: Desk) -> list[ShiftBoard]:
    """Give the running shifts and those of the next 16 hours: 3 queries."""
    shifts = list(shifts_between(desk.site_id, desk.now, desk.now + timedelta(hours=16)))
    skills = _skills_in_words(desk)
    jobs = _jobs_by_worker(desk, shifts)
    groups: dict[tuple[datetime, datetime], list[Shift]] = defaultdict(list)
    for shift in shifts:
        groups[shift.starts_at, shift.ends_at].append(shift)
    return [_board(desk, group, skills, jobs) for _hours, group in sorted(groups.items())]


def _skills_in_words(desk: Desk) -> dict[int, str]:
    """What each worker may do today: 2 queries."""
    names = dict(Skill.objects.filter(site_id=desk.site_id).values_list("key", "name"))
    held = skills_on(desk.site_id, local_date_of(desk.now, desk.caller.site.zone))
    return {
        worker_id: ", ".join(sorted(names[key] for key in keys)) for worker_id, keys in held.items()
    }


def _board(
    desk: Desk, group: list[Shift], skills: dict[int, str], jobs: dict[int, list[Claim]]
) -> ShiftBoard:
    here = [s for s in group if s.presence in (Presence.EXPECTED, Presence.HERE)]
    crews: dict[tuple[str, str], list[PersonLine]] = defaultdict(list)
    for shift in here:
        crew = shift.worker.crew.name if shift.worker.crew else _("No crew")
        crews[crew, shift.pattern.name].append(_person(desk, shift, skills, jobs))
    first = group[0]
    return ShiftBoard(
        hours=desk.span(first.starts_at, first.ends_at),
        is_running=first.starts_at <= desk.now,
        n_counted=len(here),
        crews=[CrewLine(*names, people) for names, people in sorted(crews.items())],
        away=[s for s in group if s not in here],
    )


def _person(
    desk: Desk, shift: Shift, skills: dict[int, str], jobs: dict[int, list[Claim]]
) -> PersonLine:
    mine = [
        c for c in jobs.get(shift.worker_id, []) if shift.starts_at <= c.span.lower < shift.ends_at
    ]
    now = next((c for c in mine if c.span.lower <= desk.now < c.span.upper), None)
    return PersonLine(
        shift=shift,
        hours=desk.span(shift.starts_at, shift.ends_at),
        skills=skills.get(shift.worker_id, ""),
        job=_job_words(desk, now) if now else "",
        n_jobs=len(mine),
    )


def _job_words(desk: Desk, claim: Claim) -> str:
    order = claim.assignment.work_order
    title = order.title.get(desk.language) or order.title.get("en", "")
    return f"{title} {desk.place(order.place)}"


def _jobs_by_worker(desk: Desk, shifts: list[Shift]) -> dict[int, list[Claim]]:
    if not shifts:
        return {}
    end = max(s.ends_at for s in shifts)
    start = min(s.starts_at for s in shifts)
    claims = Claim.objects.filter(
        site_id=desk.site_id, worker__isnull=False, span__overlap=(start, end)
    ).select_related("assignment__work_order__place")
    found: dict[int, list[Claim]] = defaultdict(list)
    for claim in claims.order_by("span"):
        if claim.worker_id is not None:
            found[claim.worker_id].append(claim)
    return found


def crew_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 23 queries."""
    boards = shift_boards(desk)
    today = local_date_of(desk.now, desk.caller.site.zone)
    running = [b for b in boards if b.is_running]
    n_now = sum(b.n_counted for b in running)
    n_sick = sum(s.presence == Presence.SICK for b in boards for s in b.away)
    finding = " ".join(
        [
            ngettext("%d person is on shift now.", "%d people are on shift now.", n_now) % n_now,
            ngettext("%d called in sick.", "%d called in sick.", n_sick) % n_sick,
        ]
    )
    return {
        "finding": finding,
        "boards": boards,
        "gaps": [*short_rests(desk), *short_skills(desk)],
        **_pens_by_crew(desk),
        "handovers": handover_lines(desk),
        "calendars": crew_links(desk),
        "expiring": list(skills_expiring(desk.site_id, today, today + timedelta(days=30))),
        "phones": list(
            Device.objects.filter(site_id=desk.site_id, revoked_at=None)
            .select_related("worker", "crew")
            .order_by("worker__name", "crew__name")
        ),
    }


def _pens_by_crew(desk: Desk) -> dict[str, Any]:
    """Pens with the crews that have each today, by the hours of their shifts: 4 queries."""
    today = local_date_of(desk.now, desk.caller.site.zone)
    has = crews_of_pens(desk.site_id, [today])
    crews = list(Crew.objects.filter(site_id=desk.site_id).order_by("name"))
    names = {c.pk: c.name for c in crews}
    patterns = list(
        ShiftPattern.objects.filter(site_id=desk.site_id, retired_at=None).order_by("key")
    )
    hours: dict[tuple[time, float], list[ShiftPattern]] = defaultdict(list)
    for pattern in patterns:
        hours[pattern.starts_local, pattern.duration_min].append(pattern)
    columns = sorted(hours.items(), key=lambda column: column[0])
    return {
        "crews": [c for c in crews if c.retired_at is None],
        "patterns": patterns,
        "pen_heads": [_hours(desk, today, group[0]) for _hours_of, group in columns],
        "pens": [
            (
                pen,
                desk.place(pen.place),
                [_crews(names, has, group, pen, today) for _h, group in columns],
            )
            for pen in pens_of(desk.site_id)
        ],
    }


def _hours(desk: Desk, today: date, pattern: ShiftPattern) -> str:
    starts_at = resolve(datetime.combine(today, pattern.starts_local), desk.caller.site.zone)
    return desk.span(starts_at, starts_at + timedelta(minutes=pattern.duration_min))


def _crews(
    names: dict[int, str],
    has: dict[tuple[int, int, date], int],
    patterns: list[ShiftPattern],
    pen: Pen,
    today: date,
) -> str:
    ids = (has.get((pattern.pk, pen.pk, today)) for pattern in patterns)
    return ", ".join(names[key] for key in ids if key is not None) or "–"
