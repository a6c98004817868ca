"""What the exact model can say of a day, and why it declines the others."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise
from math import gcd

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.problem import Job, Problem
from schedules.dayplan.calc.resources import Block, Interval, Shift
from schedules.dayplan.calc.ways import ways_of

MOST_CHOICES = 20_000  # of a job and a person's shift; common practice, no source


class Beyond(StrEnum):
    """Why a day cannot be modelled."""

    LOCKED = "locked"
    PREVIOUS = "previous"
    MACHINES = "machines"
    ITEMS = "items"
    PAUSES = "pauses"
    CREW_SIZES = "crew_sizes"
    BONDS = "bonds"
    HEAT = "heat"
    WAYS = "ways"
    DUTY = "duty"
    FRACTIONS = "fractions"
    SHIFTS_OVERLAP = "shifts_overlap"
    SKILLS_LAPSE = "skills_lapse"
    TOO_LARGE = "too_large"


def beyond(inst: Instance) -> set[Beyond]:
    """Return what of a day the exact model cannot say; nothing: it holds the day whole."""
    problem, found = inst.problem, set[Beyond]()
    for job in problem.jobs:
        found.update(_of_job(job))
    weights = problem.weights
    if weights.duty_per_min or weights.balance_per_min:
        found.add(Beyond.DUTY)
    if any(person.heat_rests for person in problem.people) and any(j.effort for j in problem.jobs):
        found.add(Beyond.HEAT)
    if any(skill.until is not None for person in problem.people for skill in person.skills):
        found.add(Beyond.SKILLS_LAPSE)
    if _has_ways(problem):
        found.add(Beyond.WAYS)
    if any(moment.microsecond for moment in _moments(problem)) or _has_fractions(problem):
        found.add(Beyond.FRACTIONS)
    if _shifts_overlap(problem):
        found.add(Beyond.SHIFTS_OVERLAP)
    if sum(len(task.units) for task in inst.tasks) > MOST_CHOICES:
        found.add(Beyond.TOO_LARGE)
    return found


def _of_job(job: Job) -> Iterator[Beyond]:
    says = (
        (Beyond.LOCKED, job.locked is not None),
        (Beyond.PREVIOUS, job.previous is not None),
        (Beyond.MACHINES, job.needs_machine),
        (Beyond.ITEMS, bool(job.items)),
        (Beyond.PAUSES, job.may_pause),
        (Beyond.CREW_SIZES, len(job.sizes) > 1 or bool(job.durations)),
        (Beyond.BONDS, bool(job.same_people_as or job.other_people_than or job.same_machine_as)),
    )
    return (code for code, is_so in says if is_so)


def _has_ways(problem: Problem) -> bool:
    index = {place.key: i for i, place in enumerate(problem.places)}
    jobs = [job for job in problem.jobs if job.n_people]
    used = sorted({index[job.place] for job in jobs})
    starts = sorted({index[person.start_place] for person in problem.people})
    ends = sorted({index[person.end_place] for person in problem.people if person.end_place})
    people_m = ways_of(problem).people_m
    return bool(people_m[[*used, *starts]][:, [*used, *ends]].any()) if used else False


def _shifts_overlap(problem: Problem) -> bool:
    for person in problem.people:
        shifts = sorted(person.shifts, key=lambda shift: shift.start)
        if any(a.latest_end > b.start for a, b in pairwise(shifts)):
            return True
    return False


def _moments(problem: Problem) -> Iterator[datetime]:
    spans: list[Interval | Block | Shift] = [problem.horizon, *problem.blocks, *problem.daylight]
    for job in problem.jobs:
        spans.extend(job.windows)
        if job.due_at is not None:
            yield job.due_at
    for person in problem.people:
        spans.extend((*person.shifts, *person.breaks))
        yield from (shift.latest_end for shift in person.shifts)
    for span in spans:
        yield from (span.start, span.end)


def _lengths_min(problem: Problem) -> Iterator[float]:
    for job in problem.jobs:
        yield job.duration_min
        for dependency in job.depends_on:
            yield dependency.min_gap_min
            yield dependency.max_gap_min or 0


def _has_fractions(problem: Problem) -> bool:
    return any((length * 60) % 1 for length in _lengths_min(problem))


def grain_s(problem: Problem) -> int:
    """Return the greatest whole number of seconds that divides all times of a day [s].

    With it the model's numbers are small; some best plan has all its times on it, since all rules
    on times are differences and all prices have their corners there.
    """
    grain, second = 0, timedelta(seconds=1)
    for moment in _moments(problem):
        grain = gcd(grain, (moment - problem.horizon.start) // second)
    for length in _lengths_min(problem):
        grain = gcd(grain, round(length * 60))
    return grain or 1
