"""The problem as the search reads it: indices for records, whole seconds from the horizon's start.

Rounding is to the safe side: what is allowed shrinks to whole seconds, what is taken grows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from graphlib import TopologicalSorter
from itertools import chain
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.problem import Booking, Dependency, Job, Problem, Relation
from schedules.dayplan.calc.resources import (
    Block,
    Bucket,
    Effort,
    HeatRest,
    Interval,
    Machine,
    Person,
    Shift,
)
from schedules.dayplan.calc.spans import (
    NEVER,
    SlowSpan,
    Span,
    common,
    cut,
    is_no_slower,
    merged,
)
from schedules.dayplan.calc.ways import ways_of

UNTOUCHED, CLEAN, DIRTY = 0, 1, 2
_BUCKETS = {None: UNTOUCHED, Bucket.CLEAN: CLEAN, Bucket.DIRTY: DIRTY}
_EFFORTS: dict[Effort | None, int] = {None: 0, **{e: i + 1 for i, e in enumerate(Effort)}}


@dataclass(slots=True)
class Unit:
    """One person on one shift: what the search books. `end` and `free` count overtime as time."""

    person: int
    start: int
    paid_end: int
    end: int
    place: int
    crew: str | None
    pace: int
    n_skills: int
    free: list[Span]
    breaks: list[Span]

    def free_for(self, task: Task) -> list[Span]:
        """Return when the unit may be at a job: between breaks, or over them if it may pause."""
        return [(self.start, self.end)] if task.may_pause else self.free


@dataclass(slots=True)
class Lag:
    """One dependency seen from one of its two jobs: the other one and the gap between them."""

    other: int
    relation: Relation
    least: int
    most: int


@dataclass(slots=True)
class Seat:
    """Where the previous plan had a job: its people, its machine (-1: none), its start."""

    crew: frozenset[int]
    people: list[int]
    machine: int
    start: int


@dataclass(slots=True)
class Task:
    """A job as the search reads it.

    `units` gives, for each unit that may do it, the latest end that the person's skills allow;
    `drivers` the same by machine; `crews` the paces a team may work at, with who keeps up. A start
    before `first_useful` or after `latest_start` leaves no time for what waits for the job,
    `at_stake` is the price of that; `rank` is the priority of the most pressing of them.
    """

    place: int
    work: int
    n_people: int
    needs_machine: bool
    is_driven: bool
    bucket: int
    effort: int
    priority: int
    left_out_cost: float
    due: int
    crew: str | None
    openings: list[Span]
    exclusive: list[int]
    machines: list[int]
    locked: Booking | None
    previous: Seat | None
    units: dict[int, int] = field(default_factory=dict)
    drivers: dict[int, dict[int, int]] = field(default_factory=dict)
    crews: list[tuple[list[SlowSpan], list[int]]] = field(default_factory=list)
    waits_for: list[Lag] = field(default_factory=list)
    awaited_by: list[Lag] = field(default_factory=list)
    may_pause: bool = False
    first_useful: int = -NEVER
    latest_start: int = NEVER
    at_stake: float = 0
    rank: int = 9


class Instance:
    """All that the search reads of a problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.origin = problem.horizon.start
        self.horizon = self.inside(problem.horizon)
        self.place_index = {place.key: i for i, place in enumerate(problem.places)}
        self.job_index = {job.id: i for i, job in enumerate(problem.jobs)}
        self.person_index = {person.id: i for i, person in enumerate(problem.people)}
        self.machine_index = {machine.id: i for i, machine in enumerate(problem.machines)}
        self.tolerance = floor(problem.weights.change_tolerance_min * 60)
        self.wash = ceil(problem.wash_min * 60)
        self._set_units()
        self._set_machines()
        self.tasks = [self._task(job) for job in problem.jobs]
        self.bonds: list[list[int]] = [[] for _ in problem.jobs]
        for i, job in enumerate(problem.jobs):
            self._set_bonds(i, job)
        for job, task in zip(problem.jobs, self.tasks, strict=True):
            self._set_who(job, task)
            for dependency in job.depends_on:
                self._set_lag(self.job_index[job.id], dependency)
        waits = {i: [lag.other for lag in t.waits_for] for i, t in enumerate(self.tasks)}
        self.order = list(TopologicalSorter(waits).static_order())
        for i in reversed(self.order):
            self._set_need(self.tasks[i])

    def floor_s(self, at: datetime) -> int:
        """Whole seconds from the horizon's start, rounded down [s]."""
        return floor((at - self.origin) / timedelta(seconds=1))

    def ceil_s(self, at: datetime) -> int:
        """Whole seconds from the horizon's start, rounded up [s]."""
        return ceil((at - self.origin) / timedelta(seconds=1))

    def instant(self, at: int) -> datetime:
        """Instant a number of seconds after the horizon's start."""
        return self.origin + timedelta(seconds=at)

    def inside(self, span: Interval | Shift) -> Span:
        """Whole seconds inside a span that is allowed."""
        return self.ceil_s(span.start), self.floor_s(span.end)

    def around(self, span: Block | HeatRest | Interval) -> Span:
        """Whole seconds around a span that is taken."""
        return self.floor_s(span.start), self.ceil_s(span.end)

    def speed_tables(self) -> tuple[list[int], list[int], NDArray[np.int64]]:
        """Return each person's and each machine's table of ways, and the tables.

        Returns
        -------
        walk_of, drive_of : list of int
            Which table is a person's, a machine's.
        tables : ndarray, shape (n_tables, n_places, n_places)
            Time from place to place, rounded up. [s]
        """
        problem, ways = self.problem, ways_of(self.problem)
        walks = [person.walk_m_min or problem.walk_m_min for person in problem.people]
        drives = [machine.speed_m_min for machine in problem.machines]
        of_people = list(dict.fromkeys([problem.walk_m_min, *walks]))
        of_machines = list(dict.fromkeys(drives))
        tables = [_times(ways.people_m, speed) for speed in of_people]
        tables += [_times(ways.machines_m, speed) for speed in of_machines]
        drive_of = [len(of_people) + of_machines.index(speed) for speed in drives]
        return [of_people.index(speed) for speed in walks], drive_of, np.stack(tables)

    def _set_bonds(self, i: int, job: Job) -> None:
        """Set a job's bonds as pairs of kind and other job, seen from both."""
        kinds = ((0, job.same_people_as), (1, job.other_people_than), (2, job.same_machine_as))
        for kind, others in kinds:
            for other in (self.job_index[key] for key in others):
                self.bonds[i] += [kind, other]
                self.bonds[other] += [kind, i]

    def skill_levels(self, person: int, key: str) -> list[tuple[int, int]]:
        """Return until when a person holds a skill, and at which level."""
        return [
            (NEVER if s.until is None else self.floor_s(s.until), s.level)
            for s in self.problem.people[person].skills
            if s.key == key
        ]

    def _set_units(self) -> None:
        people = self.problem.people
        profiles = list(dict.fromkeys(person.heat_rests for person in people)) or [()]
        self.slow = [[self._slow(rests, effort) for rests in profiles] for effort in _EFFORTS]
        self.skill_ends = [self._skill_ends(person) for person in people]
        self.units: list[Unit] = []
        self.units_of: list[list[int]] = []
        for i, person in enumerate(people):
            first = len(self.units)
            self.units += self._units(i, person, profiles.index(person.heat_rests))
            self.units_of.append(list(range(first, len(self.units))))
        self.alike: dict[tuple[int, ...], list[int]] = {}  # units by when they are at work
        for u, unit in enumerate(self.units):
            self.alike.setdefault((unit.start, unit.end, *chain(*unit.free)), []).append(u)

    def _slow(self, rests: tuple[HeatRest, ...], effort: Effort | None) -> list[SlowSpan]:
        if effort is None:
            return []
        spans = [(*self.around(rest), 60 - rest.rest_min_per_h(effort)) for rest in rests]
        return sorted(span for span in spans if span[2] < 60)

    def _units(self, index: int, person: Person, pace: int) -> Iterator[Unit]:
        breaks = merged(self.around(pause) for pause in person.breaks)
        place = self.place_index[person.start_place]
        shifts = sorted(person.shifts, key=lambda shift: shift.start)
        starts = [*(self.ceil_s(shift.start) for shift in shifts), NEVER]
        for shift, next_start in zip(shifts, starts[1:], strict=True):
            start, paid_end = self.inside(shift)
            end = min(self.floor_s(shift.latest_end), next_start)
            yield Unit(
                person=index,
                start=start,
                paid_end=paid_end,
                end=end,
                place=place,
                crew=person.crew,
                pace=pace,
                n_skills=len(person.skills),
                free=cut([(start, end)], breaks),
                breaks=breaks,
            )

    def _set_machines(self) -> None:
        machines = self.problem.machines
        self.machine_free = [self._machine_free(machine) for machine in machines]
        self.machine_place = [self.place_index[machine.start_place] for machine in machines]
        self.hookup = [ceil(machine.hookup_min * 60) for machine in machines]
        self.first_bucket = [_BUCKETS[machine.last_bucket] for machine in machines]

    def _machine_free(self, machine: Machine) -> list[Span]:
        holds = [self.around(hold) for hold in machine.holds]
        return cut([self.inside(span) for span in machine.available], holds)

    def _task(self, job: Job) -> Task:
        problem = self.problem
        places = [problem.places[self.place_index[key]] for key in job.places]
        return Task(
            place=self.place_index[job.place],
            work=ceil(_shortest_min(job) * 60 - 1e-6),
            n_people=min(job.sizes),
            needs_machine=job.needs_machine,
            is_driven=job.is_driven,
            bucket=_BUCKETS[job.bucket],
            effort=_EFFORTS[job.effort],
            priority=job.priority,
            left_out_cost=_left_out_cost(problem, job),
            due=NEVER if job.due_at is None else self.floor_s(job.due_at),
            crew=job.preferred_crew,
            openings=self._openings(job),
            exclusive=[self.place_index[place.key] for place in places if place.is_exclusive],
            machines=[i for i, m in enumerate(problem.machines) if job.may_use(m)],
            locked=job.locked,
            may_pause=job.may_pause,
            previous=None if job.previous is None else self._seat(job.previous),
        )

    def _seat(self, booking: Booking) -> Seat:
        # What is no longer there gets an index that nothing has, so that any slot is a change.
        people = [self.person_index.get(person, -1) for person in booking.people]
        machine = -1 if booking.machine is None else self.machine_index.get(booking.machine, -2)
        return Seat(frozenset(people), people, machine, self.floor_s(booking.start))

    def _openings(self, job: Job) -> list[Span]:
        problem = self.problem
        spans = common(map(self.inside, job.windows), [self.horizon])
        if job.is_daylight_only:
            spans = common(spans, map(self.inside, problem.daylight))
        return cut(spans, [self.around(b) for b in problem.blocks if b.place in job.places])

    def _set_who(self, job: Job, task: Task) -> None:
        may_meet = {key: _can_meet(self.units[us[0]], task) for key, us in self.alike.items()}
        at_work = sorted(u for key, us in self.alike.items() if may_meet[key] for u in us)
        task.units = self._skilled(at_work, job.skills)
        if job.is_driven:
            self._set_drivers(task)
        slows = self.slow[task.effort]
        paces = [slows[self.units[u].pace] for u in task.units]
        for pace in [pace for i, pace in enumerate(paces) if pace not in paces[:i]]:
            keep_up = [u for u in task.units if is_no_slower(slows[self.units[u].pace], pace)]
            task.crews.append((pace, keep_up))

    def _set_drivers(self, task: Task) -> None:
        driving: dict[str | None, dict[int, int]] = {}
        for m in task.machines:
            skill = self.problem.machines[m].driver_skill
            if skill not in driving:
                skilled = self._skilled(list(task.units), () if skill is None else (skill,))
                driving[skill] = {u: min(task.units[u], end) for u, end in skilled.items()}
            task.drivers[m] = driving[skill]

    def _skilled(self, units: list[int], skills: tuple[str, ...]) -> dict[int, int]:
        latest_end = {}
        for u in units:
            until = self.skill_ends[self.units[u].person]
            if all(skill in until for skill in skills):
                latest_end[u] = min((until[skill] for skill in skills), default=NEVER)
        return latest_end

    def _skill_ends(self, person: Person) -> dict[str, int]:
        return {s.key: NEVER if s.until is None else self.floor_s(s.until) for s in person.skills}

    def _set_lag(self, job: int, dependency: Dependency) -> None:
        on = self.job_index[dependency.on]
        least = ceil(dependency.min_gap_min * 60)
        most = NEVER if dependency.max_gap_min is None else floor(dependency.max_gap_min * 60)
        self.tasks[job].waits_for.append(Lag(on, dependency.relation, least, most))
        self.tasks[on].awaited_by.append(Lag(job, dependency.relation, least, most))

    def _set_need(self, task: Task) -> None:
        """Set what depends on a job, once that is known of those that wait for it."""
        task.rank = task.priority
        ends = (end for _, end in task.openings)
        task.latest_start = max(ends, default=NEVER) - task.work
        for lag in task.awaited_by:
            after = self.tasks[lag.other]
            is_to_end = lag.relation in (Relation.FINISH_TO_FINISH, Relation.START_TO_FINISH)
            is_from_end = lag.relation in (Relation.FINISH_TO_START, Relation.FINISH_TO_FINISH)
            between = (after.work if is_to_end else 0) - (task.work if is_from_end else 0)
            first = max(after.first_useful, min((a for a, _ in after.openings), default=-NEVER))
            task.rank = min(task.rank, after.rank)
            task.first_useful = max(task.first_useful, first + between - lag.most)
            task.latest_start = min(task.latest_start, after.latest_start + between - lag.least)
            task.at_stake += after.left_out_cost + after.at_stake


def _shortest_min(job: Job) -> float:
    return min((job.duration_min, *(d.duration_min for d in job.durations)))


def _left_out_cost(problem: Problem, job: Job) -> float:
    if job.left_out_cost is not None:
        return job.left_out_cost
    return problem.weights.left_out[job.priority - 1]


def _times(ways_m: NDArray[np.float64], speed_m_min: float) -> NDArray[np.int64]:
    # Less a millionth, so that 60 s with float noise do not become 61 s.
    return np.ceil(ways_m / speed_m_min * 60 - 1e-6).astype(np.int64)


def _can_meet(unit: Unit, task: Task) -> bool:
    return any(e - s >= task.work for s, e in common(unit.free_for(task), task.openings))
