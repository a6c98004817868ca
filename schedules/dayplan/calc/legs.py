"""How people get to their jobs in a plan: one leg for each person and job, in plain instants.

The score and the judge stand on these; the search keeps its own, faster ones.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import hypot

from schedules.dayplan.calc.problem import Job, Problem
from schedules.dayplan.calc.resources import Bucket, Machine
from schedules.dayplan.calc.solution import Assignment


@dataclass(frozen=True, slots=True)
class Leg:
    """How one person gets to one job.

    Parameters
    ----------
    person, before : str or None
        Who (none: the machine is brought in), and the person's job before it in the same shift.
    walk_min : float
        To the job, or to where the machine stands. [min]
    wash_min, hookup_min, drive_min : float
        Washing the machine's bucket; taking it over; driving it to the job. [min]
    is_with_machine : bool
        Whether it comes with the machine, driven or brought in.
    machine_before : str or None
        The machine's job before it.
    """

    person: str | None
    before: str | None
    walk_min: float = 0
    wash_min: float = 0
    hookup_min: float = 0
    drive_min: float = 0
    is_with_machine: bool = False
    machine_before: str | None = None

    @property
    def travel_min(self) -> float:
        """Walking and driving of a person [min]."""
        return 0 if self.person is None else self.walk_min + self.drive_min


def travel_legs(problem: Problem, plan: Iterable[Assignment]) -> dict[str, tuple[Leg, ...]]:
    """Return each job's legs: one a person, and the machine's when nobody drives it in."""
    return _Legs(problem, list(plan)).of_all()


class _Legs:
    def __init__(self, problem: Problem, plan: list[Assignment]) -> None:
        self.problem = problem
        self.plan = sorted(plan, key=lambda given: (given.start, given.end, given.job))
        self.at = {place.key: (place.x_m, place.y_m) for place in problem.places}
        self.jobs = {job.id: job for job in problem.jobs}
        self.people = {person.id: person for person in problem.people}
        self.machines = {machine.id: machine for machine in problem.machines}
        self.last_of_person: dict[tuple[str, datetime | None], str] = {}
        self.jobs_of_machine: dict[str, list[str]] = defaultdict(list)

    def of_all(self) -> dict[str, tuple[Leg, ...]]:
        legs = {}
        for given in self.plan:
            job = self.jobs[given.job]
            legs[given.job] = tuple(self._legs_of(job, given))
            for person in given.people:
                self.last_of_person[self._turn(person, given.start)] = job.id
            if given.machine is not None:
                self.jobs_of_machine[given.machine].append(job.id)
        return legs

    def _turn(self, person: str, start: datetime) -> tuple[str, datetime | None]:
        shift = self.people[person].shift_at(start)
        return person, None if shift is None else shift.start

    def _legs_of(self, job: Job, given: Assignment) -> Iterable[Leg]:
        drives = given.machine is not None and job.is_driven
        walkers = given.people[1:] if drives else given.people
        if given.machine is not None:
            driver = given.people[0] if drives else None
            yield self._machine_leg(job, driver, self.machines[given.machine], given.start)
        for person in walkers:
            before, place = self._where(person, given.start)
            yield Leg(person, before, self._way_m(place, job.place) / self.problem.walk_m_min)

    def _where(self, person: str, start: datetime) -> tuple[str | None, str]:
        before = self.last_of_person.get(self._turn(person, start))
        if before is None:
            return None, self.people[person].start_place
        return before, self.jobs[before].place

    def _machine_leg(self, job: Job, driver: str | None, machine: Machine, start: datetime) -> Leg:
        earlier = self.jobs_of_machine[machine.id]
        machine_before = earlier[-1] if earlier else None
        stands = self.jobs[machine_before].place if machine_before else machine.start_place
        drive_min = self._way_m(stands, job.place) / machine.speed_m_min
        wash_min = self.problem.wash_min if self._needs_wash(job, machine, earlier) else 0
        if driver is None:
            return Leg(None, None, 0, wash_min, 0, drive_min, True, machine_before)
        before, place = self._where(driver, start)
        walk_min = self._way_m(place, stands) / self.problem.walk_m_min
        comes_along = before is not None and before == machine_before
        hookup_min = 0 if comes_along else machine.hookup_min
        return Leg(driver, before, walk_min, wash_min, hookup_min, drive_min, True, machine_before)

    def _needs_wash(self, job: Job, machine: Machine, earlier: list[str]) -> bool:
        touched = [b for b in (self.jobs[key].bucket for key in earlier) if b is not None]
        last = touched[-1] if touched else machine.last_bucket
        return job.bucket is Bucket.CLEAN and last is Bucket.DIRTY

    def _way_m(self, a: str, b: str) -> float:
        (ax, ay), (bx, by) = self.at[a], self.at[b]
        return hypot(ax - bx, ay - by) * self.problem.detour_factor
