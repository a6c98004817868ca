"""Who could be put on a shift that lacks people of a skill, breaking no rule."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from crews.people.models import Worker, WorkerSkill
from equipment.site.models import Site

from .build import Facts, is_away, roster_on_record
from .days import facts_beside, judge_with
from .words import Names

MOST_TRIED = 12  # people judged: each costs a check of the weeks around


@dataclass(frozen=True, slots=True)
class Standby:
    """Somebody who could come, and what the roster would cost more [its own price]."""

    worker_id: int
    name: str
    cost_change: float
    shifts_near: int


def standbys(
    *, site: Site, on: date, kind: str, skill: str, at: datetime, most: int = 2
) -> list[Standby]:
    """Give the people who hold a skill, are free on a date and break no rule by coming.

    The cheapest for the roster first. About 12 queries and one more for each person tried; who has
    the fewest shifts in the weeks around is tried first.
    """
    holders = _holders(site.pk, skill, on)
    if not holders:
        return []
    facts = facts_beside(site, [on])
    if kind not in facts.kinds.patterns:
        return []
    names = Names.of(site.pk, facts.kinds)
    found = []
    for worker, n_shifts in _free(facts, on, holders)[:MOST_TRIED]:
        judged = judge_with(facts, names, {(worker.pk, on): kind}, at)
        if not judged.broken:
            found.append(Standby(worker.pk, worker.name, judged.cost_change, n_shifts))
    return sorted(found, key=lambda one: (one.cost_change, one.shifts_near, one.worker_id))[:most]


def _holders(site_id: int, skill: str, on: date) -> set[int]:
    """Workers who hold a skill on a date: 1 query."""
    rows = WorkerSkill.objects.filter(site_id=site_id, skill__key=skill, from_on__lte=on)
    rows = rows.exclude(until_on__lte=on).filter(worker__retired_at=None)
    return set(rows.values_list("worker_id", flat=True))


def _free(facts: Facts, on: date, holders: set[int]) -> list[tuple[Worker, int]]:
    """Those who have no shift on the date and are not on leave, who works least first."""
    keys = {worker.key: worker.pk for worker in facts.workers}
    count = dict.fromkeys(keys.values(), 0)
    busy = set()
    for given in roster_on_record(facts):
        count[keys[given.person]] += 1
        if given.on == on:
            busy.add(keys[given.person])
    marked = {shift.worker_id for shift in facts.shifts if shift.local_date == on}
    free = [
        (worker, count[worker.pk])
        for worker in facts.workers
        if worker.pk in holders - busy - marked and not is_away(facts, worker, on)
    ]
    return sorted(free, key=lambda one: (one[1], one[0].pk))
