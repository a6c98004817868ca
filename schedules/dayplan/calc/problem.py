"""The day-plan problem: jobs, what they need, and the day they are in. Refuses nonsense when made.

All times are aware UTC instants, so the plan does not know what a daylight-saving night is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from graphlib import CycleError, TopologicalSorter

from schedules.dayplan.calc.resources import (
    Block,
    Bucket,
    Effort,
    Interval,
    Machine,
    Person,
    Place,
    ProblemError,
    require,
    require_span,
    require_unique,
    require_utc,
)

SCHEMA = "penround/day-problem/1"


class Relation(StrEnum):
    """How a job hangs on another: the temporal RELTYPE values of RFC 9253.

    The job that carries the dependency is the later task of RFC 9253 ("cannot start until ...").
    """

    FINISH_TO_START = "FINISHTOSTART"
    START_TO_START = "STARTTOSTART"
    FINISH_TO_FINISH = "FINISHTOFINISH"
    START_TO_FINISH = "STARTTOFINISH"


@dataclass(frozen=True, slots=True)
class Dependency:
    """What a job waits for.

    Parameters
    ----------
    on : str
        The job waited for. When it is left out, so is the one that waits.
    min_gap_min : float
        Least time between the two ends that `relation` names; below 0 is a lead. [min]
    max_gap_min : float or None
        Greatest such time, none: no limit. [min]
    """

    on: str
    relation: Relation = Relation.FINISH_TO_START
    min_gap_min: float = 0
    max_gap_min: float | None = None

    def __post_init__(self) -> None:
        if self.max_gap_min is not None:
            rule = f"max_gap_min {self.max_gap_min} is below min_gap_min {self.min_gap_min}"
            require(self.max_gap_min >= self.min_gap_min, f"dependency on {self.on!r}", rule)


@dataclass(frozen=True, slots=True)
class Booking:
    """Who has a job, with what and when: one put there by hand, under way, or in the last plan.

    With a machine that needs a driver, the first of `people` drives.
    """

    people: tuple[str, ...]
    machine: str | None
    start: datetime
    end: datetime

    def __post_init__(self) -> None:
        require_span(self.start, self.end, f"booking of {', '.join(self.people) or 'nobody'}")
        require_unique(self.people, "booking", "people")


@dataclass(frozen=True, slots=True)
class Job:
    """One work order, to be done in one go, wholly inside one of its windows.

    Parameters
    ----------
    windows : tuple of Interval
        Earliest start to latest end; several are alternatives.
    duration_min : float
        Time on the job with its locks and set-up, before heat rest. [min]
    n_people : int
        How many do it together, from start to end.
    skills : tuple of str
        All of them are needed of each person.
    machine_kinds, machine_ids : tuple of str
        Alternatives: one machine of any of these kinds, or one of these machines. Both empty: none.
    needs_driver : bool
        Whether one of the people drives the machine. False where it stands idle under the job (a
        service): it must then be free, but is brought there without taking a person's time.
    priority : int
        1 (first) to 9, as PRIORITY of RFC 5545.
    due_at : datetime or None
        Soft end: minutes past it are priced.
    locked : Booking or None
        A fact the plan keeps: given by hand, or under way.
    previous : Booking or None
        Where the last plan had it; leaving that is priced.
    bucket : Bucket or None
        What the machine's bucket touches; a clean job after a dirty one costs a wash.
    effort : Effort or None
        How hard it is out in the heat; none: no rest is owed.
    occupies : tuple of str
        Places besides `place` that it takes up (alleys, the pen).
    """

    id: str
    kind: str
    place: str
    windows: tuple[Interval, ...]
    duration_min: float
    n_people: int = 1
    skills: tuple[str, ...] = ()
    machine_kinds: tuple[str, ...] = ()
    machine_ids: tuple[str, ...] = ()
    needs_driver: bool = True
    priority: int = 5
    due_at: datetime | None = None
    depends_on: tuple[Dependency, ...] = ()
    locked: Booking | None = None
    previous: Booking | None = None
    preferred_crew: str | None = None
    bucket: Bucket | None = None
    is_daylight_only: bool = False
    effort: Effort | None = None
    occupies: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        record = f"job {self.id!r}"
        require(bool(self.id), "job", "id must not be empty")
        require(bool(self.windows), record, "windows must not be empty")
        require(self.duration_min > 0, record, f"duration_min {self.duration_min} is not above 0")
        require(self.n_people >= 1, record, f"n_people {self.n_people} is below 1")
        require(1 <= self.priority <= 9, record, f"priority {self.priority} is not in 1..9")
        require_utc(self.due_at, record, "due_at")
        require_unique((d.on for d in self.depends_on), record, "depends_on")
        require_unique((self.place, *self.occupies), record, "occupies")

    @property
    def needs_machine(self) -> bool:
        """Whether the job cannot be done by hand."""
        return bool(self.machine_kinds or self.machine_ids)

    @property
    def is_driven(self) -> bool:
        """Whether one of its people drives a machine."""
        return self.needs_machine and self.needs_driver

    @property
    def places(self) -> tuple[str, ...]:
        """All places it touches."""
        return (self.place, *self.occupies)

    def may_use(self, machine: Machine) -> bool:
        """Whether the machine is one of the alternatives."""
        return machine.id in self.machine_ids or machine.kind in self.machine_kinds


@dataclass(frozen=True, slots=True)
class Weights:
    """Prices, all in minutes of a person's walking.

    The defaults are common practice, no source: a job tied to a cow window outweighs any walking.

    Parameters
    ----------
    left_out : tuple of float
        Price of leaving a job out, by priority 1..9. [min]
    change_tolerance_min : float
        A start moved by no more than this is no change. [min]
    """

    left_out: tuple[float, ...] = (200_000, 40_000, 8_000, 2_000, 600, 400, 300, 200, 100)
    late_per_min: float = 2
    overtime_per_min: float = 3
    travel_per_min: float = 1
    off_crew_per_job: float = 5
    change_per_job: float = 20
    change_tolerance_min: float = 5

    def __post_init__(self) -> None:
        rule = f"left_out needs 9 prices, one for each priority, got {len(self.left_out)}"
        require(len(self.left_out) == 9, "weights", rule)
        prices = (self.late_per_min, self.overtime_per_min, self.travel_per_min)
        counts = (self.off_crew_per_job, self.change_per_job, self.change_tolerance_min)
        require(min(*self.left_out, *prices, *counts) >= 0, "weights", "no price may be below 0")


@dataclass(frozen=True, slots=True)
class Problem:
    """A day to plan.

    Parameters
    ----------
    horizon : Interval
        Nothing is planned outside it; what is locked may begin before it.
    daylight : tuple of Interval
        When daylight-only jobs may be done.
    walk_m_min : float
        Walking speed; 80 m min⁻¹ is 4.8 km/h. Common practice, no source. [m min⁻¹]
    detour_factor : float
        Way on the ground over straight line; 1.3 is common practice, no source.
    wash_min : float
        Time to wash or change a bucket from dirty to clean. Common practice, no source. [min]
    """

    horizon: Interval
    places: tuple[Place, ...]
    people: tuple[Person, ...] = ()
    machines: tuple[Machine, ...] = ()
    jobs: tuple[Job, ...] = ()
    blocks: tuple[Block, ...] = ()
    daylight: tuple[Interval, ...] = ()
    walk_m_min: float = 80
    detour_factor: float = 1.3
    wash_min: float = 15
    weights: Weights = field(default_factory=Weights)

    def __post_init__(self) -> None:
        require(self.walk_m_min > 0, "problem", f"walk_m_min {self.walk_m_min} is not above 0")
        require(self.detour_factor >= 1, "problem", "detour_factor is below 1")
        require(self.wash_min >= 0, "problem", f"wash_min {self.wash_min} is below 0")
        require_unique((place.key for place in self.places), "problem", "places")
        require_unique((person.id for person in self.people), "problem", "people")
        require_unique((machine.id for machine in self.machines), "problem", "machines")
        require_unique((job.id for job in self.jobs), "problem", "jobs")
        self._require_known_places()
        self._require_known_jobs()
        _require_acyclic(self.jobs)

    def _require_known_places(self) -> None:
        known = {place.key for place in self.places}
        named = [(f"block of {b.place!r}", b.place) for b in self.blocks]
        named += [(f"person {p.id!r}", p.start_place) for p in self.people]
        named += [(f"machine {m.id!r}", m.start_place) for m in self.machines]
        named += [(f"job {j.id!r}", key) for j in self.jobs for key in j.places]
        for record, key in named:
            require(key in known, record, f"place {key!r} is not in the problem")

    def _require_known_jobs(self) -> None:
        jobs = {job.id for job in self.jobs}
        people = {person.id for person in self.people}
        machines = {machine.id for machine in self.machines}
        for job in self.jobs:
            record = f"job {job.id!r}"
            for dependency in job.depends_on:
                require(dependency.on in jobs, record, f"depends on unknown {dependency.on!r}")
            if job.locked is not None:
                for person in job.locked.people:
                    require(person in people, record, f"is locked to unknown person {person!r}")
                machine = job.locked.machine
                rule = f"is locked to unknown machine {machine!r}"
                require(machine is None or machine in machines, record, rule)


def _require_acyclic(jobs: tuple[Job, ...]) -> None:
    try:
        TopologicalSorter({job.id: [d.on for d in job.depends_on] for job in jobs}).prepare()
    except CycleError as error:
        ring = " -> ".join(error.args[1])
        raise ProblemError(f"job {error.args[1][0]!r}", f"waits for itself: {ring}") from error
