"""What keeps a job out of a plan, as few facts as can be, and what would let it in.

Each answer comes from a solve of the day with the rest of the plan held where it is: a fact is
taken away, and the job finds room or it does not. Facts are tried away one by one; what is left in
the end clashes, and without any one of them the job would have room (a minimal core, as in the
deletion filter of Chinneck and Dravnieks, ORSA Journal on Computing 3(2), 1991, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Booking, Job, Problem
from schedules.dayplan.calc.resources import Machine, Person, Shift, Skill
from schedules.dayplan.calc.solution import Assignment, Solution

LATER_MIN = (15, 30, 60, 120, 240)
N_INSTEAD = 8  # how many jobs are looked at that might be left out instead
_TOP_LEVEL = 9


class Clashing(StrEnum):
    """A kind of fact that a job may clash with."""

    WINDOW = "window"
    PLACE = "place"
    ORDER = "order"
    MACHINES = "machines"
    PEOPLE = "people"
    OTHER_WORK = "other_work"


class RemedyKind(StrEnum):
    """What would let a job in."""

    LATER = "later"
    ONE_MORE_PERSON = "one_more_person"
    ONE_MORE_MACHINE = "one_more_machine"
    INSTEAD_OF = "instead_of"


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something to do, and the plan that a solve found with it.

    Parameters
    ----------
    later_min : int or None
        By how much the window must end later. [min]
    instead_of : str or None
        The job left out in its place.
    total_cost : float
        Of the plan with it. [min of walking]
    given : Assignment
        Who would have the job then, and when.
    """

    kind: RemedyKind
    total_cost: float
    given: Assignment
    later_min: int | None = None
    instead_of: str | None = None


@dataclass(frozen=True, slots=True)
class Help:
    """Why a job has no room, and what would make some.

    Parameters
    ----------
    clash : tuple of Clashing
        Take any one away and the job has room; empty when it has room as things are.
    remedies : tuple of Remedy
        The cheapest first.
    """

    job: str
    clash: tuple[Clashing, ...]
    remedies: tuple[Remedy, ...]


def find_help(problem: Problem, plan: Iterable[Assignment], job: str) -> Help:
    """Find what keeps a job out of a plan, and what would let it in.

    Parameters
    ----------
    problem : Problem
        The day.
    plan : iterable of Assignment
        What is to stay as it is.
    job : str
        A job of the problem that the plan leaves out.

    Returns
    -------
    Help

    Raises
    ------
    KeyError
        `job` is none of the problem's.
    """
    held = _Held(problem, {given.job: given for given in plan if given.job != job}, job)
    clash = held.clash()
    found = [remedy for kind in clash for remedy in held.remedies(kind)]
    return Help(job, clash, tuple(sorted(found, key=lambda remedy: remedy.total_cost)))


class _Held:
    """A day with its plan held in place and one job without room."""

    def __init__(self, problem: Problem, plan: dict[str, Assignment], job: str) -> None:
        self.job = {record.id: record for record in problem.jobs}[job]
        others = [_locked(record, plan) for record in problem.jobs if record.id in plan]
        waits = {need.on for need in self.job.depends_on} - plan.keys()
        missing = [record for record in problem.jobs if record.id in waits]
        self.problem = replace(problem, jobs=(self.job, *missing, *others))

    def clash(self) -> tuple[Clashing, ...]:
        """Give facts that are minimal: with all of them no room, without any one some."""
        away: list[Clashing] = []
        if self._solved(self.problem) is not None:
            return ()
        for kind in Clashing:
            if self._solved(self._without([*away, kind])) is None:
                away.append(kind)
        return tuple(kind for kind in Clashing if kind not in away)

    def remedies(self, kind: Clashing) -> Iterable[Remedy]:
        """Give what can be done about one kind of fact, where it is enough by itself."""
        if kind == Clashing.WINDOW:
            yield from self._later()
        if kind == Clashing.PEOPLE:
            yield from self._if_solved(
                RemedyKind.ONE_MORE_PERSON, _with_person(self.problem, self.job, 1)
            )
        if kind == Clashing.MACHINES and self.job.needs_machine:
            yield from self._if_solved(
                RemedyKind.ONE_MORE_MACHINE, _with_machine(self.problem, self.job)
            )
        if kind == Clashing.OTHER_WORK:
            yield from self._instead()

    def _later(self) -> Iterable[Remedy]:
        for later_min in LATER_MIN:
            last = max(self.job.windows, key=lambda window: window.end)
            end = min(last.end + timedelta(minutes=later_min), self.problem.horizon.end)
            longer = tuple(replace(w, end=end) if w is last else w for w in self.job.windows)
            problem = _with_job(self.problem, replace(self.job, windows=longer))
            found = list(self._if_solved(RemedyKind.LATER, problem, later_min=later_min))
            if found:
                yield from found
                return

    def _instead(self) -> Iterable[Remedy]:
        """Leave a job out that matters less, the least first."""
        lesser = [
            record
            for record in self.problem.jobs[1:]
            if record.priority > self.job.priority and self._meets(record)
        ]
        lesser.sort(key=lambda record: (-record.priority, record.duration_min))
        for record in lesser[:N_INSTEAD]:
            problem = _without_jobs(self.problem, [record])
            found = list(self._if_solved(RemedyKind.INSTEAD_OF, problem, instead_of=record.id))
            if found:
                yield from found
                return

    def _meets(self, record: Job) -> bool:
        """Whether it may be left out and is done while the job might be."""
        booking = record.locked
        is_free = booking is not None and record.previous is not None
        if not is_free or booking is None:
            return False
        return any(w.start < booking.end and booking.start < w.end for w in self.job.windows)

    def _if_solved(
        self,
        kind: RemedyKind,
        problem: Problem,
        later_min: int | None = None,
        instead_of: str | None = None,
    ) -> Iterable[Remedy]:
        solution = self._solved(problem)
        if solution is not None:
            given = next(a for a in solution.assignments if a.job == self.job.id)
            yield Remedy(kind, solution.score.total_cost, given, later_min, instead_of)

    def _solved(self, problem: Problem) -> Solution | None:
        """Solve with everything else held; None when the job finds no room."""
        solution = solve_day(problem, iterations=0)
        has_room = any(given.job == self.job.id for given in solution.assignments)
        return solution if has_room else None

    def _without(self, kinds: Sequence[Clashing]) -> Problem:
        """Take kinds of facts away, for this job or for the day, whichever is simpler."""
        problem, job = self.problem, self.job
        if Clashing.WINDOW in kinds:
            job = replace(job, windows=(problem.horizon,), is_daylight_only=False)
        if Clashing.ORDER in kinds:
            job = replace(
                job, depends_on=(), same_people_as=(), other_people_than=(), same_machine_as=()
            )
        problem = _with_job(problem, job)
        if Clashing.PLACE in kinds:
            places = set(job.places)
            blocks = tuple(block for block in problem.blocks if block.place not in places)
            free = tuple(
                replace(place, is_exclusive=False) if place.key in places else place
                for place in problem.places
            )
            problem = replace(problem, blocks=blocks, places=free)
        if Clashing.MACHINES in kinds and job.needs_machine:
            problem = _with_machine(problem, job)
        if Clashing.PEOPLE in kinds:
            problem = _with_person(problem, job, max(job.sizes))
        if Clashing.OTHER_WORK in kinds:
            needed = {need.on for need in job.depends_on}
            others = [record for record in problem.jobs[1:] if record.id not in needed]
            problem = _without_jobs(problem, others)
        return problem


def _locked(record: Job, plan: dict[str, Assignment]) -> Job:
    """Hold a job where the plan has it; what was a fact before has no `previous` any more."""
    given = plan[record.id]
    booking = Booking(given.people, given.machine, given.start, given.end)
    return replace(
        record,
        locked=booking,
        previous=booking if record.locked is None else None,
        depends_on=tuple(need for need in record.depends_on if need.on in plan),
    )


def _with_job(problem: Problem, job: Job) -> Problem:
    return replace(
        problem, jobs=tuple(job if record.id == job.id else record for record in problem.jobs)
    )


def _without_jobs(problem: Problem, gone: Sequence[Job]) -> Problem:
    ids = {record.id for record in gone}
    kept = (record for record in problem.jobs if record.id not in ids)
    return replace(
        problem,
        jobs=tuple(
            replace(
                record,
                depends_on=tuple(need for need in record.depends_on if need.on not in ids),
                same_people_as=tuple(x for x in record.same_people_as if x not in ids),
                other_people_than=tuple(x for x in record.other_people_than if x not in ids),
                same_machine_as=tuple(x for x in record.same_machine_as if x not in ids),
            )
            for record in kept
        ),
    )


def _with_person(problem: Problem, job: Job, n_people: int) -> Problem:
    """Add people who can do the job at any hour, and stand where it is."""
    drivers = {m.driver_skill for m in problem.machines if job.may_use(m) and m.driver_skill}
    seats = {skill for seat in job.seats for skill in seat.skills}
    keys = sorted({*job.skills, *seats, *drivers})
    shift = Shift(problem.horizon.start, problem.horizon.end)
    more = tuple(
        Person(
            id=f"one more {number}",
            start_place=job.place,
            shifts=(shift,),
            skills=tuple(Skill(key, level=_TOP_LEVEL) for key in keys),
            carries=job.items,
        )
        for number in range(1, n_people + 1)
    )
    return replace(problem, people=(*problem.people, *more))


def _with_machine(problem: Problem, job: Job) -> Problem:
    """Add a machine of the first kind that will do; where one machine is named, free that one."""
    if not job.machine_kinds:
        free = tuple(
            replace(m, available=(problem.horizon,), holds=()) if m.id in job.machine_ids else m
            for m in problem.machines
        )
        return replace(problem, machines=free)
    kind = job.machine_kinds[0]
    like = [m for m in problem.machines if m.kind == kind]
    more = Machine(
        id="one more",
        kind=kind,
        start_place=job.place,
        speed_m_min=like[0].speed_m_min if like else 100,
        available=(problem.horizon,),
        driver_skill=like[0].driver_skill if like else None,
    )
    return replace(problem, machines=(*problem.machines, more))
