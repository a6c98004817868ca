"""The day-plan problem: jobs, what they need, and the day they are in. Refuses nonsense when made.

All times are aware UTC instants, so the plan does not know what a daylight-saving night is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from graphlib import CycleError, TopologicalSorter

from schedules.dayplan.calc.resources import (
    Amount,
    Block,
    Bucket,
    Effort,
    Gear,
    Interval,
    Machine,
    Person,
    Place,
    ProblemError,
    Road,
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
class Seat:
    """One place in a job's team: the skills asked of whoever takes it, each at least at `level`."""

    skills: tuple[str, ...] = ()
    level: int = 1

    def __post_init__(self) -> None:
        require_unique(self.skills, "seat", "skills")
        require(self.level >= 1, "seat", f"level {self.level} is below 1")


@dataclass(frozen=True, slots=True)
class Duration:
    """How long a job takes otherwise than its `duration_min`: by machine kind, crew size or both.

    Parameters
    ----------
    duration_min : float
        Time on the job, before heat rest. [min]
    machine_kind : str or None
        One of the job's kinds; none: whatever the machine.
    n_people : int or None
        A crew of this size may do it too; none: the job's `n_people`.
    """

    duration_min: float
    machine_kind: str | None = None
    n_people: int | None = None

    def __post_init__(self) -> None:
        require(self.duration_min > 0, "duration", f"{self.duration_min} min is not above 0")
        rule = f"n_people {self.n_people} is below 1"
        require(self.n_people is None or self.n_people >= 1, "duration", rule)


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
        How many do it together, from start to end. 0 with neither skills nor machine: a milestone,
        or work that no person is planned for.
    skills : tuple of str
        All of them are needed of each person, at least at `skill_level`.
    seats : tuple of Seat
        What is asked of each person besides `skills`, one seat a person; then `n_people` is their
        number. None: all alike. The driver, if any, is in the first.
    durations : tuple of Duration
        Other durations by machine kind and crew size; a crew size named here may do it too.
    gear : tuple of Amount
        What it holds of the problem's gear while it lasts.
    items : tuple of Amount
        Tools and materials that the first of its people must have at hand, carried from the start
        of the shift or loaded in a call before it. Materials are used up by it, the problem's
        `tools` are not.
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
    may_pause : bool
        Whether it is left for the breaks of any of its people and then taken up again, its machine
        and places held; it does not begin in one. Else it lies between.
    same_people_as, other_people_than, same_machine_as : tuple of str
        Jobs that have just the same people, none of its people, or its machine, if both are done
        and have people, or machines, at all.
    left_out_cost, late_per_min : float or None
        Its own prices of being left out and of each minute late; none: those of the weights.
    spread_frac : float
        Standard deviation of its duration over the duration. [-]
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
    seats: tuple[Seat, ...] = ()
    skill_level: int = 1
    durations: tuple[Duration, ...] = ()
    gear: tuple[Amount, ...] = ()
    items: tuple[Amount, ...] = ()
    may_pause: bool = False
    same_people_as: tuple[str, ...] = ()
    other_people_than: tuple[str, ...] = ()
    same_machine_as: tuple[str, ...] = ()
    left_out_cost: float | None = None
    late_per_min: float | None = None
    spread_frac: float = 0

    def __post_init__(self) -> None:
        record = f"job {self.id!r}"
        require(bool(self.id), "job", "id must not be empty")
        require(bool(self.windows), record, "windows must not be empty")
        require(self.duration_min >= 0, record, f"duration_min {self.duration_min} is below 0")
        require(1 <= self.priority <= 9, record, f"priority {self.priority} is not in 1..9")
        require_utc(self.due_at, record, "due_at")
        require_unique((d.on for d in self.depends_on), record, "depends_on")
        require_unique((self.place, *self.occupies), record, "occupies")
        require_unique((a.key for a in self.gear), record, "gear")
        require_unique((a.key for a in self.items), record, "items")
        self._require_people(record)
        self._require_prices(record)

    def _require_people(self, record: str) -> None:
        require(self.n_people >= 0, record, f"n_people {self.n_people} is below 0")
        rule = f"n_people {self.n_people} is not the number of its seats, {len(self.seats)}"
        require(not self.seats or self.n_people == len(self.seats), record, rule)
        require(
            not self.seats or self.sizes == (self.n_people,), record, "has seats and crew sizes"
        )
        is_bare = not (self.skills or self.is_driven or self.items or self.durations)
        rule = "needs nobody, but skills, a driver, items or durations"
        require(self.n_people >= 1 or is_bare, record, rule)
        rule = f"duration_min {self.duration_min} is not above 0"
        require(self.n_people == 0 or self.duration_min > 0, record, rule)
        require(self.skill_level >= 1, record, f"skill_level {self.skill_level} is below 1")
        bonds = (*self.same_people_as, *self.other_people_than, *self.same_machine_as)
        require(self.id not in bonds, record, "is bound to itself")

    def _require_prices(self, record: str) -> None:
        prices = (self.left_out_cost or 0, self.late_per_min or 0, self.spread_frac)
        require(min(prices) >= 0, record, "no price and no spread may be below 0")

    @property
    def sizes(self) -> tuple[int, ...]:
        """Crew sizes that may do it, the first as asked."""
        others = sorted({d.n_people for d in self.durations if d.n_people is not None})
        return (self.n_people, *(n for n in others if n != self.n_people))

    def duration_for(self, machine_kind: str | None, n_people: int) -> float:
        """Time on the job with a machine kind and a crew size, the closest entry first [min]."""
        best, found = -1, self.duration_min
        for d in self.durations:
            is_kind = d.machine_kind is None or d.machine_kind == machine_kind
            if is_kind and (d.n_people or self.n_people) == n_people:
                fit = 2 * (d.n_people is not None) + (d.machine_kind is not None)
                best, found = max((best, found), (fit, d.duration_min))
        return found

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
    duty_per_min : float
        Of each minute from a person's leaving for the first job of a shift, as late as leaves time
        for the way, its stops and making the machine ready, to the end of the last, or to being
        back where the person must be; breaks between count. [-]
    balance_per_min : float
        Of each minute that a person is on jobs, from start to end, beyond an even share of all
        jobs' `duration_min` times `n_people`, done or not, shared out by the length of the
        person's shifts without overtime. [-]
    """

    left_out: tuple[float, ...] = (200_000, 40_000, 8_000, 2_000, 600, 400, 300, 200, 100)
    late_per_min: float = 2
    overtime_per_min: float = 3
    travel_per_min: float = 1
    off_crew_per_job: float = 5
    change_per_job: float = 20
    change_tolerance_min: float = 5
    duty_per_min: float = 0
    balance_per_min: float = 0

    def __post_init__(self) -> None:
        rule = f"left_out needs 9 prices, one for each priority, got {len(self.left_out)}"
        require(len(self.left_out) == 9, "weights", rule)
        prices = (self.late_per_min, self.overtime_per_min, self.travel_per_min)
        counts = (self.off_crew_per_job, self.change_per_job, self.change_tolerance_min)
        shares = (self.duty_per_min, self.balance_per_min)
        require(
            min(*self.left_out, *prices, *counts, *shares) >= 0,
            "weights",
            "no price may be below 0",
        )


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
    roads : tuple of Road
        The site's ways. Between places that they join, whoever may use them and whichever way, the
        shortest way along them counts, and where none leads there is none; else the straight line
        by `detour_factor`.
    ways_m : tuple of tuple of float
        Way from each place (row) to each (column), in the order of `places`, instead of both. [m]
    gear : tuple of Gear
    tools : tuple of str
        Items that a job does not use up.
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
    roads: tuple[Road, ...] = ()
    ways_m: tuple[tuple[float, ...], ...] = ()
    gear: tuple[Gear, ...] = ()
    tools: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        require(self.walk_m_min > 0, "problem", f"walk_m_min {self.walk_m_min} is not above 0")
        require(self.detour_factor >= 1, "problem", "detour_factor is below 1")
        require(self.wash_min >= 0, "problem", f"wash_min {self.wash_min} is below 0")
        require_unique((place.key for place in self.places), "problem", "places")
        require_unique((person.id for person in self.people), "problem", "people")
        require_unique((machine.id for machine in self.machines), "problem", "machines")
        require_unique((job.id for job in self.jobs), "problem", "jobs")
        require_unique((gear.key for gear in self.gear), "problem", "gear")
        self._require_known_places()
        self._require_known_jobs()
        self._require_known_gear()
        self._require_square_ways()
        _require_acyclic(self.jobs)

    def _require_known_places(self) -> None:
        known = {place.key for place in self.places}
        named = [(f"block of {b.place!r}", b.place) for b in self.blocks]
        named += [(f"person {p.id!r}", p.start_place) for p in self.people]
        named += [(f"machine {m.id!r}", m.start_place) for m in self.machines]
        named += [(f"person {p.id!r}", p.end_place) for p in self.people if p.end_place]
        named += [(f"machine {m.id!r}", m.fuel.place) for m in self.machines if m.fuel]
        named += [(f"road {r.a!r} - {r.b!r}", key) for r in self.roads for key in (r.a, r.b)]
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
            for other in (*job.same_people_as, *job.other_people_than, *job.same_machine_as):
                require(other in jobs, record, f"is bound to unknown {other!r}")
            if job.locked is not None:
                for person in job.locked.people:
                    require(person in people, record, f"is locked to unknown person {person!r}")
                machine = job.locked.machine
                rule = f"is locked to unknown machine {machine!r}"
                require(machine is None or machine in machines, record, rule)

    def _require_known_gear(self) -> None:
        known = {gear.key for gear in self.gear}
        for job in self.jobs:
            for amount in job.gear:
                rule = f"gear {amount.key!r} is not in the problem"
                require(amount.key in known, f"job {job.id!r}", rule)

    def _require_square_ways(self) -> None:
        if not self.ways_m:
            return
        n = len(self.places)
        is_square = len(self.ways_m) == n and all(len(row) == n for row in self.ways_m)
        require(is_square, "problem", f"ways_m is not {n} rows of {n}, one a place")
        is_way = all(way_m >= 0 for row in self.ways_m for way_m in row)
        require(is_way, "problem", "no way in ways_m may be below 0")


def _require_acyclic(jobs: tuple[Job, ...]) -> None:
    try:
        TopologicalSorter({job.id: [d.on for d in job.depends_on] for job in jobs}).prepare()
    except CycleError as error:
        ring = " -> ".join(error.args[1])
        raise ProblemError(f"job {error.args[1][0]!r}", f"waits for itself: {ring}") from error
