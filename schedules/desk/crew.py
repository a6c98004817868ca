"""Crew: who is here, who may drive what, who has which pens."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from crews.devices.models import Device
from crews.people.models import Crew
from crews.people.queries import skills_expiring, skills_on, workers_of
from crews.roster.models import Presence, Shift, ShiftPattern
from crews.roster.queries import crews_of_pens, shifts_between
from equipment.barns.models import Pen
from equipment.site.calc.local_time import local_date_of
from schedules.dayplan.models import Claim

from .base import Desk


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person of a shift."""

    shift: Shift
    hours: str
    skills: str
    job: str
    n_jobs: int


@dataclass(frozen=True, slots=True)
class ShiftBoard:
    """One shift with its people by crew."""

    name: str
    hours: str
    is_running: bool
    n_counted: int
    crews: list[tuple[str, list[PersonLine]]]
    away: list[Shift]


def shift_boards(desk: Desk) -> list[ShiftBoard]:
    """Give the running shifts and those of the next 16 hours: 4 queries."""
    shifts = list(shifts_between(desk.site_id, desk.now, desk.now + timedelta(hours=16)))
    skills = skills_on(desk.site_id, local_date_of(desk.now, desk.caller.site.zone))
    jobs = _jobs_by_worker(desk, shifts)
    groups: dict[tuple[int, datetime], list[Shift]] = defaultdict(list)
    for shift in shifts:
        groups[(shift.pattern_id, shift.starts_at)].append(shift)
    return [_board(desk, group, skills, jobs) for group in groups.values()]


def _board(
    desk: Desk, group: list[Shift], skills: dict[int, set[str]], jobs: dict[int, list[Claim]]
) -> ShiftBoard:
    here = [s for s in group if s.presence in (Presence.EXPECTED, Presence.HERE)]
    crews: dict[str, list[PersonLine]] = defaultdict(list)
    for shift in here:
        crew = shift.worker.crew.name if shift.worker.crew else _("No crew")
        crews[crew].append(_person(desk, shift, skills, jobs))
    first = group[0]
    return ShiftBoard(
        name=first.pattern.name,
        hours=f"{desk.clock(first.starts_at)} – {desk.clock(first.ends_at)}",
        is_running=first.starts_at <= desk.now,
        n_counted=len(here),
        crews=sorted(crews.items()),
        away=[s for s in group if s not in here],
    )


def _person(
    desk: Desk, shift: Shift, skills: dict[int, set[str]], jobs: dict[int, list[Claim]]
) -> PersonLine:
    mine = [
        c for c in jobs.get(shift.worker_id, []) if shift.starts_at <= c.span.lower < shift.ends_at
    ]
    now = next((c for c in mine if c.span.lower <= desk.now < c.span.upper), None)
    return PersonLine(
        shift=shift,
        hours=f"{desk.clock(shift.starts_at)} – {desk.clock(shift.ends_at)}",
        skills=", ".join(sorted(s.replace("-", " ") for s in skills.get(shift.worker_id, ()))),
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
    """Put the page together: about 12 queries."""
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
        "pens": _pen_rows(desk),
        "patterns": list(ShiftPattern.objects.filter(site_id=desk.site_id, retired_at=None)),
        "crews": list(Crew.objects.filter(site_id=desk.site_id, retired_at=None).order_by("name")),
        "expiring": list(skills_expiring(desk.site_id, today, today + timedelta(days=30))),
        "workers": list(workers_of(desk.site_id)),
        "phones": list(
            Device.objects.filter(site_id=desk.site_id, revoked_at=None)
            .select_related("worker")
            .order_by("worker__name")
        ),
    }


def _pen_rows(desk: Desk) -> list[tuple[Pen, str, list[str]]]:
    """Pens with the crew that has each on each shift today."""
    today = local_date_of(desk.now, desk.caller.site.zone)
    has = crews_of_pens(desk.site_id, [today])
    names = {c.pk: c.name for c in Crew.objects.filter(site_id=desk.site_id)}
    patterns = list(
        ShiftPattern.objects.filter(site_id=desk.site_id, retired_at=None).order_by("key")
    )
    pens = (
        Pen.objects.filter(site_id=desk.site_id, place__retired_at=None)
        .select_related("place")
        .order_by("milking_rank")
    )
    return [
        (
            pen,
            desk.place(pen.place),
            [f"{p.name}: {names.get(has.get((p.pk, pen.pk, today), 0), '–')}" for p in patterns],
        )
        for pen in pens
    ]
