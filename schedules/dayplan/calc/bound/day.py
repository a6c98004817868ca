"""A day relaxed to rows of jobs, one a person's shift.

Each rule is kept or loosened, never tightened: windows grow by what the judge lets pass, and ways
are the shortest over any places between. A job is so many parts, of its driver and of who goes
along, that need not go on at one time. A driver takes the machine over from a stand: where some job
before left it, or where it was at first, and nobody else takes it from there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from graphlib import TopologicalSorter

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.bound.times import Spans, common, cut, union
from schedules.dayplan.calc.problem import Job, Problem, Relation
from schedules.dayplan.calc.resources import Machine, Person
from schedules.dayplan.calc.ways import ways_of

NEVER_MIN = 1e7
MORE_MIN = 1e-3  # what the judge lets pass, at least
_FROM_END = (Relation.FINISH_TO_START, Relation.FINISH_TO_FINISH)
_TO_START = (Relation.FINISH_TO_START, Relation.START_TO_START)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Part:
    """What a person does of a job, driving or going along; `n` people are needed for it."""

    job: int
    is_driver: bool
    n: int


@dataclass(frozen=True, slots=True)
class Stand:
    """Where one of some machines may be taken over: after a job, or, -1, where it was at first."""

    place: int
    machines: frozenset[int]
    job: int = -1


@dataclass(frozen=True, slots=True)
class Ride:
    """The stands that a driven job's machine may come from, with the least times from there."""

    stands: NDArray[np.int64]
    drive_min: Floats
    hookup_min: Floats


class RelaxedDay:
    """All that the bound reads of a problem; times in minutes from the horizon's start.

    Parameters
    ----------
    problem : Problem
    slot_min : float
        Length of a slot of time; ends fall to the start of theirs. [min]
    """

    def __init__(self, problem: Problem, slot_min: float) -> None:
        self.problem, self.slot_min = problem, slot_min
        self.place = {place.key: i for i, place in enumerate(problem.places)}
        self.index = {job.id: i for i, job in enumerate(problem.jobs)}
        self.spans = [self._spans(job) for job in problem.jobs]
        self._set_windows()
        self.free = [self._machine_spans(machine) for machine in problem.machines]
        self._set_ways()
        self.parts = [part for j, job in enumerate(problem.jobs) for part in _parts(j, job)]
        self.stands = list(self._stands())
        self.rides = {part.job: self._ride(part.job) for part in self.parts if part.is_driver}

    def minute(self, at: datetime) -> float:
        """Minutes from the horizon's start [min]."""
        return (at - self.problem.horizon.start) / timedelta(minutes=1)

    def left_out_cost(self, j: int) -> float:
        """Price of leaving a job out, that of the change counted [min of walking]."""
        job, weights = self.problem.jobs[j], self.problem.weights
        own = job.left_out_cost
        price = weights.left_out[job.priority - 1] if own is None else own
        return price + (weights.change_per_job if job.previous is not None else 0)

    # Times ------------------------------------------------------------------------------------

    def _spans(self, job: Job) -> Spans:
        """When a job may be done, wherever it hangs on others."""
        problem, minute = self.problem, self.minute
        if job.locked is not None:
            return [(minute(job.locked.start), minute(job.locked.end))]
        day = problem.horizon
        spans = self._wider([(minute(w.start), minute(w.end)) for w in job.windows])
        spans = common(spans, self._wider([(minute(day.start), minute(day.end))]))
        if job.is_daylight_only:
            light = [(minute(d.start), minute(d.end)) for d in problem.daylight]
            spans = common(spans, self._wider(light))
        blocks = [b for b in problem.blocks if b.place in job.places]
        return self.without(spans, [(minute(b.start), minute(b.end)) for b in blocks])

    @staticmethod
    def _wider(spans: Spans) -> Spans:
        return union((a - MORE_MIN, b + MORE_MIN) for a, b in spans)

    @staticmethod
    def without(spans: Spans, holes: Spans) -> Spans:
        """Cut holes out of spans, each a little smaller."""
        return cut(spans, [(a + MORE_MIN, b - MORE_MIN) for a, b in holes])

    def _set_windows(self) -> None:
        """Set each job's first and last start and end, given that all it waits for is done."""
        jobs = self.problem.jobs
        n = len(jobs)
        self.work_min = [_least_min(job) for job in jobs]
        self.first, self.last = np.zeros((n, 2)), np.zeros((n, 2))  # start, end
        order = TopologicalSorter({j.id: [d.on for d in j.depends_on] for j in jobs})
        for key in order.static_order():
            j = self.index[key]
            opens = min((a for a, _ in self.spans[j]), default=NEVER_MIN)
            closes = max((b for _, b in self.spans[j]), default=-NEVER_MIN)
            length = self.work_min[j] if jobs[j].locked is None else closes - opens
            self.first[j], self.last[j] = (opens, opens + length), (closes - length, closes)
            if jobs[j].locked is None:
                self._narrow(j, length)

    def _narrow(self, j: int, length: float) -> None:
        first, last = self.first[j], self.last[j]
        for waits in self.problem.jobs[j].depends_on:
            k = self.index[waits.on]
            by, to = int(waits.relation in _FROM_END), int(waits.relation not in _TO_START)
            first[to] = max(first[to], self.first[k][by] + waits.min_gap_min - MORE_MIN)
            if waits.max_gap_min is not None:
                last[to] = min(last[to], self.last[k][by] + waits.max_gap_min + MORE_MIN)
        first[1] = max(first[1], first[0] + length)
        last[0] = min(last[0], last[1] - length)

    def _machine_spans(self, machine: Machine) -> Spans:
        there = self._wider([(self.minute(a.start), self.minute(a.end)) for a in machine.available])
        holds = [(self.minute(h.start), self.minute(h.end)) for h in machine.holds]
        return self.without(there, holds)

    # Ways -------------------------------------------------------------------------------------

    def _set_ways(self) -> None:
        ways, machines = ways_of(self.problem), self.problem.machines
        self.walk_m, self.drive_m = _closed(ways.people_m), _closed(ways.machines_m)
        is_driven = any(job.locked is not None and job.is_driven for job in self.problem.jobs)
        self.fastest_m_min = max((m.speed_m_min for m in machines), default=0) if is_driven else 0

    def walk_min(self, person: Person) -> Floats:
        """Least time of a person from place to place [min].

        No less by machine, if somebody is locked to driving one: a locked job is no part, and who
        drives to it has come that far without walking.
        """
        walk_min = self.walk_m / (person.walk_m_min or self.problem.walk_m_min)
        if not self.fastest_m_min:
            return walk_min
        return _closed(np.minimum(walk_min, self.drive_m / self.fastest_m_min))

    # Parts ------------------------------------------------------------------------------------

    def machines_for(self, j: int) -> frozenset[int]:
        """Return the machines that may be a job's."""
        job, machines = self.problem.jobs[j], self.problem.machines
        if job.locked is not None:
            return frozenset(
                m for m, other in enumerate(machines) if other.id == job.locked.machine
            )
        return frozenset(m for m, machine in enumerate(machines) if job.may_use(machine))

    def _stands(self) -> Iterator[Stand]:
        for m, machine in enumerate(self.problem.machines):
            yield Stand(self.place[machine.start_place], frozenset([m]))
        for j, job in enumerate(self.problem.jobs):
            machines = self.machines_for(j)
            if machines:
                yield Stand(self.place[job.place], machines, j)

    def _ride(self, j: int) -> Ride:
        machines, to = self.problem.machines, self.place[self.problem.jobs[j].place]
        mine, rows = self.machines_for(j), []
        for s, stand in enumerate(self.stands):
            shared = mine & stand.machines
            is_before = stand.job < 0 or self.first[stand.job][1] <= self.last[j][0] + MORE_MIN
            if not shared or stand.job == j or not is_before:
                continue
            way_m = self.drive_m[stand.place, to]
            drive_min = min(way_m / machines[m].speed_m_min for m in shared)
            rows.append((s, drive_min, min(machines[m].hookup_min for m in shared)))
        columns = list(zip(*rows, strict=True)) or [(), (), ()]
        return Ride(np.array(columns[0], np.int64), np.array(columns[1]), np.array(columns[2]))


def _parts(j: int, job: Job) -> Iterator[Part]:
    n = min(job.sizes)
    if job.locked is None and job.is_driven:
        yield Part(j, True, 1)
    if job.locked is None and n > job.is_driven:
        yield Part(j, False, n - job.is_driven)


def _least_min(job: Job) -> float:
    return min(job.duration_min, *(d.duration_min for d in job.durations), NEVER_MIN)


def _closed(ways: Floats) -> Floats:
    """Return the least ways over any places between."""
    least = ways.copy()
    for k in range(len(least)):
        np.minimum(least, least[:, k, None] + least[k], out=least)
    np.fill_diagonal(least, 0)
    return least
