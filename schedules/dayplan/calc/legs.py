"""How people get to their jobs in a plan, and back: in plain instants.

The score and the judge stand on these; the search keeps its own, faster ones.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from schedules.dayplan.calc.problem import Job, Problem
from schedules.dayplan.calc.resources import Bucket, Machine, Person, Shift, minutes_between
from schedules.dayplan.calc.solution import Assignment
from schedules.dayplan.calc.ways import NO_WAY_M, ways_of

_LONGEST_MIN = 1e7  # nineteen years: instants end in the year 9999
_TOLERANCE_MIN = 1e-6  # fuel is counted down by differences of instants


@dataclass(frozen=True, slots=True)
class Leg:
    """How one person gets to one job.

    Parameters
    ----------
    person, before : str or None
        Who (none: the machine is brought in), and the person's job before it in the same shift.
    walk_min : float
        To the job, or to where the machine stands; with a call, by the place of it. [min]
    call_min : float
        The call itself, while walking. [min]
    wash_min, hookup_min, drive_min : float
        Washing the machine's bucket; taking it over; driving it to the job, by the place of a fuel
        stop if it needs one. [min]
    fill_min : float
        The fuel stop itself, while driving. [min]
    is_with_machine : bool
        Whether it comes with the machine, driven or brought in.
    machine_before : str or None
        The machine's job before it.
    has_way : bool
        Whether the roads lead there.
    """

    person: str | None
    before: str | None
    walk_min: float = 0
    call_min: float = 0
    wash_min: float = 0
    hookup_min: float = 0
    drive_min: float = 0
    fill_min: float = 0
    is_with_machine: bool = False
    machine_before: str | None = None
    has_way: bool = True

    @property
    def travel_min(self) -> float:
        """Walking and driving of a person, with the stops on the way [min]."""
        on_way_min = self.walk_min + self.call_min + self.drive_min + self.fill_min
        return 0 if self.person is None else on_way_min

    @property
    def till_machine_min(self) -> float:
        """Time to reach the job, or the machine first [min]."""
        return self.walk_min + self.call_min

    @property
    def with_machine_min(self) -> float:
        """Time from reaching the machine to the job [min]."""
        return self.wash_min + self.hookup_min + self.drive_min + self.fill_min


@dataclass(frozen=True, slots=True)
class Turn:
    """One person's jobs in one shift, from leaving for the first to being back.

    Parameters
    ----------
    first, last : str
        The job that begins first, and the one that ends last.
    leaves_at : datetime
        The latest instant at which the person is in time for the first job; how long the machine
        is taken by others is left aside.
    back_min : float
        The way back, 0 if the person need not be anywhere. [min]
    back_at : datetime
        When the last job is over and the person back.
    has_way : bool
        Whether the roads lead back.
    """

    person: str
    shift: Shift
    first: str
    last: str
    leaves_at: datetime
    back_min: float
    back_at: datetime
    has_way: bool


def travel_legs(problem: Problem, plan: Iterable[Assignment]) -> dict[str, tuple[Leg, ...]]:
    """Return each job's legs: one a person, and the machine's when nobody drives it in."""
    return _Legs(problem, list(plan)).of_all()


def turns_of(
    problem: Problem, plan: Iterable[Assignment], legs: Mapping[str, tuple[Leg, ...]]
) -> tuple[Turn, ...]:
    """Return the turns of all who have a job, in order of person and shift.

    Jobs outside any shift are in none. `legs` are those of the plan.
    """
    return tuple(_Legs(problem, list(plan)).turns(legs))


def passed(person: Person | None, at: datetime, needed_min: float) -> datetime:
    """Instant at which so many minutes have passed outside the person's breaks."""
    left = timedelta(minutes=min(needed_min, _LONGEST_MIN))
    pauses = [] if person is None else sorted(person.breaks, key=lambda pause: pause.start)
    for pause in pauses:
        if pause.end <= at or at + left <= pause.start:
            continue
        left -= max(timedelta(0), pause.start - at)
        at = pause.end
    return at + left


def _left_by(person: Person, at: datetime, needed_min: float) -> datetime:
    """Latest instant from which so many minutes have passed by `at` outside the breaks."""
    left = timedelta(minutes=min(needed_min, _LONGEST_MIN))
    for pause in sorted(person.breaks, key=lambda pause: pause.end, reverse=True):
        if pause.start >= at or at - left >= pause.end:
            continue
        left -= max(timedelta(0), at - pause.end)
        at = pause.start
    return at - left


class _Legs:
    def __init__(self, problem: Problem, plan: list[Assignment]) -> None:
        self.problem = problem
        self.plan = sorted(plan, key=lambda given: (given.start, given.end, given.job))
        self.index = {place.key: i for i, place in enumerate(problem.places)}
        self.places = {place.key: place for place in problem.places}
        self.ways = ways_of(problem)
        self.jobs = {job.id: job for job in problem.jobs}
        self.people = {person.id: person for person in problem.people}
        self.machines = {machine.id: machine for machine in problem.machines}
        self.last_of_person: dict[tuple[str, datetime | None], str] = {}
        self.jobs_of_machine: dict[str, list[str]] = defaultdict(list)
        self.run_left_min = {m.id: m.fuel.run_left_min for m in problem.machines if m.fuel}

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

    def turns(self, legs: Mapping[str, tuple[Leg, ...]]) -> Iterator[Turn]:
        jobs_of: dict[tuple[str, Shift], list[Assignment]] = defaultdict(list)
        for given in self.plan:
            for key in given.people:
                shift = self.people[key].shift_at(given.start)
                if shift is not None:
                    jobs_of[key, shift].append(given)
        for (key, shift), several in sorted(
            jobs_of.items(), key=lambda t: (t[0][0], t[0][1].start)
        ):
            first, last = several[0], max(several, key=lambda given: given.end)
            leg = next(leg for leg in legs[first.job] if leg.person == key)
            yield self._turn_of(self.people[key], shift, first, last, leg)

    def _turn_of(
        self, person: Person, shift: Shift, first: Assignment, last: Assignment, leg: Leg
    ) -> Turn:
        needed_min = leg.till_machine_min + leg.with_machine_min
        back_m = 0.0
        if person.end_place is not None:
            back_m = self._walk_m(self.jobs[last.job].place, person.end_place)
        back_min = back_m / self._walk_m_min(person)
        return Turn(
            person=person.id,
            shift=shift,
            first=first.job,
            last=last.job,
            leaves_at=_left_by(person, first.start, needed_min),
            back_min=back_min,
            back_at=passed(person, last.end, back_min),
            has_way=back_m < NO_WAY_M,
        )

    def _turn(self, person: str, start: datetime) -> tuple[str, datetime | None]:
        shift = self.people[person].shift_at(start)
        return person, None if shift is None else shift.start

    def _legs_of(self, job: Job, given: Assignment) -> Iterator[Leg]:
        drives = given.machine is not None and job.is_driven and bool(given.people)
        walkers = given.people[1:] if drives else given.people
        caller = given.people[0] if given.people else None
        if given.machine is not None:
            machine = self.machines[given.machine]
            bare = self._machine_leg(job, machine, given)
            yield self._driver_leg(bare, machine, given) if drives else bare
        for person in walkers:
            before, place = self._where(person, given.start)
            call = given.calls_at if person == caller else None
            yield self._walked(Leg(person, before), self.people[person], place, call, job.place)

    def _where(self, person: str, start: datetime) -> tuple[str | None, str]:
        before = self.last_of_person.get(self._turn(person, start))
        if before is None:
            return None, self.people[person].start_place
        return before, self.jobs[before].place

    def _stands(self, machine: Machine) -> str:
        earlier = self.jobs_of_machine[machine.id]
        return self.jobs[earlier[-1]].place if earlier else machine.start_place

    def _walked(self, leg: Leg, person: Person, place: str, call: str | None, to: str) -> Leg:
        """Add a person's way, by the place of a call."""
        stops = (place, to) if call is None else (place, call, to)
        walk_m = sum(map(self._walk_m, stops, stops[1:]))
        return replace(
            leg,
            walk_min=walk_m / self._walk_m_min(person),
            call_min=0 if call is None else self.places[call].call_min,
            has_way=leg.has_way and walk_m < NO_WAY_M,
        )

    def _machine_leg(self, job: Job, machine: Machine, given: Assignment) -> Leg:
        """Return the machine's way to a job, its fuel counted down by it."""
        earlier = self.jobs_of_machine[machine.id]
        stops, fill_min = [self._stands(machine), job.place], 0.0
        if machine.fuel is not None and job.is_driven:
            work_min = minutes_between(given.start, given.end)
            if work_min > self.run_left_min[machine.id] + _TOLERANCE_MIN:
                stops.insert(1, machine.fuel.place)
                fill_min = machine.fuel.fill_min
                self.run_left_min[machine.id] = machine.fuel.run_full_min
            self.run_left_min[machine.id] -= work_min
        drive_m = sum(map(self._drive_m, stops, stops[1:]))
        return Leg(
            None,
            None,
            wash_min=self.problem.wash_min if self._needs_wash(job, machine, earlier) else 0,
            drive_min=drive_m / machine.speed_m_min,
            fill_min=fill_min,
            is_with_machine=True,
            machine_before=earlier[-1] if earlier else None,
            has_way=drive_m < NO_WAY_M,
        )

    def _driver_leg(self, bare: Leg, machine: Machine, given: Assignment) -> Leg:
        driver = self.people[given.people[0]]
        before, place = self._where(driver.id, given.start)
        comes_along = before is not None and before == bare.machine_before
        hookup_min = 0 if comes_along else machine.hookup_min
        leg = replace(bare, person=driver.id, before=before, hookup_min=hookup_min)
        return self._walked(leg, driver, place, given.calls_at, self._stands(machine))

    def _needs_wash(self, job: Job, machine: Machine, earlier: list[str]) -> bool:
        touched = [b for b in (self.jobs[key].bucket for key in earlier) if b is not None]
        last = touched[-1] if touched else machine.last_bucket
        return job.bucket is Bucket.CLEAN and last is Bucket.DIRTY

    def _walk_m_min(self, person: Person) -> float:
        return person.walk_m_min or self.problem.walk_m_min

    def _walk_m(self, a: str, b: str) -> float:
        return float(self.ways.people_m[self.index[a], self.index[b]])

    def _drive_m(self, a: str, b: str) -> float:
        return float(self.ways.machines_m[self.index[a], self.index[b]])
