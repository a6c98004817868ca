"""Shifts that have fewer people who may drive than their work asks for."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from crews.roster.short_heads import short_heads
from crews.roster.standby import standbys
from equipment.machines.models import Machine
from equipment.site.calc.local_time import local_date_of
from equipment.site.queries import site_of

from .found import Answer, Found
from .models import AlertKind, AnswerCode

AHEAD = timedelta(days=2)
BEGUN = timedelta(hours=4)  # a shift that has begun can still get somebody


def look_for_drivers(site_id: int, now: datetime) -> list[Found]:
    """Find the shifts of the next two days that lack people of a machine's skill: 5 queries."""
    site = site_of(site_id)
    machines = Machine.objects.filter(site_id=site_id, retired_at=None).exclude(driver_skill="")
    skills = set(machines.values_list("driver_skill", flat=True))
    if not skills:
        return []
    today = local_date_of(now - BEGUN, site.zone)
    until_on = local_date_of(now + AHEAD, site.zone) + timedelta(days=1)
    return [
        Found(
            kind=AlertKind.DRIVERS,
            subject=f"{short.on}/{short.key}/{short.skill}",
            due_at=short.starts_at,
            facts={
                "on": short.on.isoformat(),
                "starts_at": short.starts_at.isoformat(),
                "shift": short.kind,
                "key": short.key,
                "skill": short.skill,
                "skill_name": short.skill_name,
                "n_needed": short.n_needed,
                "n_there": short.n_there,
            },
            weight=short.n_needed - short.n_there,
        )
        for short in short_heads(site, today, until_on, now - BEGUN)
        if short.skill in skills and short.starts_at < now + AHEAD
    ]


def answer_drivers(site_id: int, found: Found, now: datetime) -> list[Answer]:
    """Name the two people whose coming costs the roster least, else look outside."""
    site, facts = site_of(site_id), found.facts
    people = standbys(
        site=site,
        on=date.fromisoformat(facts["on"]),
        kind=facts["key"],
        skill=facts["skill"],
        at=now,
    )
    named = [
        Answer(
            AnswerCode.CALL_IN,
            {"worker": one.worker_id, "name": one.name, "shifts_near": one.shifts_near},
        )
        for one in people
    ]
    return [*named, Answer(AnswerCode.HIRE_DRIVER, {"skill_name": facts["skill_name"]})]
