"""What the rules of a plan read and what they yield."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import timedelta

from schedules.dayplan.calc.legs import travel_legs, turns_of
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import Block, Interval, Machine, minutes_between
from schedules.dayplan.calc.solution import Assignment, Fact

TOLERANCE = timedelta(milliseconds=1)  # instants hold whole microseconds, quotients do not
TOLERANCE_MIN = 1e-3


@dataclass(frozen=True, slots=True)
class Broken:
    """One rule broken in one place.

    Parameters
    ----------
    code : str
        The rule, see the module.
    is_locked : bool
        Whether the job is locked: the plan did not choose this.
    """

    code: str
    job: str | None = None
    person: str | None = None
    machine: str | None = None
    place: str | None = None
    other_job: str | None = None
    facts: Mapping[str, Fact] = field(default_factory=dict)
    is_locked: bool = False


class Plan:
    """Assignments beside the records they name, in order of start."""

    def __init__(self, problem: Problem, assignments: Iterable[Assignment]) -> None:
        self.problem = problem
        self.jobs = {job.id: job for job in problem.jobs}
        self.places = {place.key: place for place in problem.places}
        self.people = {person.id: person for person in problem.people}
        self.machines = {machine.id: machine for machine in problem.machines}
        ordered = sorted(assignments, key=lambda given: (given.start, given.end))
        self.given = {given.job: given for given in ordered}
        self.pairs = [(self.jobs[key], given) for key, given in self.given.items()]
        self.legs = travel_legs(problem, ordered)
        self.turns = turns_of(problem, ordered, self.legs)

    def machine_of(self, given: Assignment) -> Machine | None:
        """Return the record of the machine, if there is one."""
        return None if given.machine is None else self.machines[given.machine]

    def one_not_locked(self, several: Iterable[Assignment]) -> str | None:
        """Return a job whose part in a broken rule the plan chose, else any, none if none is."""
        ids = [given.job for given in several]
        return next((key for key in ids if self.jobs[key].locked is None), next(iter(ids), None))


Rule = Callable[[Plan], Iterator[Broken]]


def overlap_min(one: Interval | Block | Assignment, other: Assignment) -> float:
    """How long two spans share [min]."""
    return max(0.0, minutes_between(max(one.start, other.start), min(one.end, other.end)))
