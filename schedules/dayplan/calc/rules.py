"""The rules of a day's plan, one function each, read off the records in plain instants.

The numbers in brackets are those of the constraints in the work catalogue's section 3.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from schedules.dayplan.calc.legs import Leg, travel_legs
from schedules.dayplan.calc.problem import Dependency, Problem, Relation
from schedules.dayplan.calc.resources import (
    Block,
    Interval,
    Machine,
    Person,
    end_with_rest,
    minutes_between,
)
from schedules.dayplan.calc.solution import Assignment, Fact

_TOLERANCE = timedelta(milliseconds=1)  # instants hold whole microseconds, quotients do not


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
        self.people = {person.id: person for person in problem.people}
        self.machines = {machine.id: machine for machine in problem.machines}
        ordered = sorted(assignments, key=lambda given: (given.start, given.end))
        self.given = {given.job: given for given in ordered}
        self.pairs = [(self.jobs[key], given) for key, given in self.given.items()]
        self.legs = travel_legs(problem, ordered)

    def machine_of(self, given: Assignment) -> Machine | None:
        """Return the record of the machine, if there is one."""
        return None if given.machine is None else self.machines[given.machine]


Rule = Callable[[Plan], Iterator[Broken]]


def windows(plan: Plan) -> Iterator[Broken]:
    """Judge (2, 13): inside the day, inside one window, by daylight where that is asked."""
    for job, given in plan.pairs:
        if job.locked is None and not _holds([plan.problem.horizon], given):
            yield Broken("outside_horizon", job.id)
        if not _holds(job.windows, given):
            yield Broken("outside_window", job.id)
        if job.is_daylight_only and not _holds(plan.problem.daylight, given):
            yield Broken("outside_daylight", job.id)


def blocks(plan: Plan) -> Iterator[Broken]:
    """Judge (1, 3, 4, 11): nobody is where cows walk back, a flush runs or a lane flows."""
    for job, given in plan.pairs:
        for block in plan.problem.blocks:
            if block.place in job.places and _overlap_min(block, given) > 0:
                facts: dict[str, Fact] = {"why": block.why, "min": _overlap_min(block, given)}
                yield Broken("place_blocked", job.id, place=block.place, facts=facts)


def lengths(plan: Plan) -> Iterator[Broken]:
    """Judge (22): long enough for the work and for the rests that heat asks for."""
    for job, given in plan.pairs:
        if job.locked is not None:
            continue
        team = [plan.people[person] for person in given.people]
        needed = end_with_rest(team, given.start, job.duration_min, job.effort)
        if given.end < needed - _TOLERANCE:
            has_min = minutes_between(given.start, given.end)
            is_work_short = has_min < job.duration_min - 1e-3
            facts = {"needs_min": minutes_between(given.start, needed), "has_min": has_min}
            yield Broken("too_short" if is_work_short else "heat_rest_missing", job.id, facts=facts)


def teams(plan: Plan) -> Iterator[Broken]:
    """Judge (8, 25): as many people as asked, each with all the skills to the end."""
    for job, given in plan.pairs:
        n_people = len(set(given.people))
        if n_people != job.n_people:
            code = "too_few_people" if n_people < job.n_people else "too_many_people"
            yield Broken(code, job.id, facts={"needs": job.n_people, "has": n_people})
        for person in given.people:
            for skill in job.skills:
                yield from _skill(plan.people[person], skill, given)


def _skill(person: Person, key: str, given: Assignment) -> Iterator[Broken]:
    if not person.has_skill(key, given.end):
        is_lapsed = any(skill.key == key for skill in person.skills)
        code = "skill_lapsed" if is_lapsed else "skill_missing"
        yield Broken(code, given.job, person.id, facts={"skill": key})


def machines(plan: Plan) -> Iterator[Broken]:
    """Judge (5, 6, 26): a machine where one is needed, of the right kind, its driver qualified."""
    for job, given in plan.pairs:
        machine = plan.machine_of(given)
        if machine is None:
            if job.needs_machine:
                yield Broken("machine_missing", job.id)
        elif not job.needs_machine:
            yield Broken("machine_unneeded", job.id, machine=machine.id)
        elif not job.may_use(machine):
            yield Broken("machine_of_wrong_kind", job.id, machine=machine.id)
        elif job.is_driven and machine.driver_skill is not None:
            driver = plan.people[given.people[0]]
            if not driver.has_skill(machine.driver_skill, given.end):
                facts = {"skill": machine.driver_skill}
                yield Broken("driver_unqualified", job.id, driver.id, machine.id, facts=facts)


def holds(plan: Plan) -> Iterator[Broken]:
    """Judge (7, 26): no machine outside its hours, none that a person has taken out of use."""
    for job, given in plan.pairs:
        machine = plan.machine_of(given)
        if machine is not None and not _holds(machine.available, given):
            yield Broken("machine_unavailable", job.id, machine=machine.id)
        if machine is not None and any(_overlap_min(hold, given) > 0 for hold in machine.holds):
            yield Broken("machine_held", job.id, machine=machine.id)


def shifts(plan: Plan) -> Iterator[Broken]:
    """Judge (23): everybody on shift, nobody on a break."""
    for job, given in plan.pairs:
        for person in (plan.people[key] for key in given.people):
            shift = person.shift_at(given.start)
            if shift is None or given.end > shift.latest_end:
                yield Broken("off_shift", job.id, person.id)
            for pause in person.breaks:
                if _overlap_min(pause, given) > 0:
                    facts = {"min": _overlap_min(pause, given)}
                    yield Broken("on_break", job.id, person.id, facts=facts)


def overlaps(plan: Plan) -> Iterator[Broken]:
    """Judge (5, 23): no person, machine or exclusive place has two jobs at once."""
    exclusive = {place.key for place in plan.problem.places if place.is_exclusive}
    users: dict[tuple[str, str], list[Assignment]] = defaultdict(list)
    for job, given in plan.pairs:
        for person in given.people:
            users["person", person].append(given)
        for place in exclusive.intersection(job.places):
            users["place", place].append(given)
        if given.machine is not None:
            users["machine", given.machine].append(given)
    for (kind, key), several in users.items():
        for one, other in _clashes(several):
            named = {kind: key}
            yield Broken(
                f"{kind}_twice",
                other.job,
                named.get("person"),
                named.get("machine"),
                named.get("place"),
                one.job,
                {"min": _overlap_min(one, other)},
            )


def _clashes(several: list[Assignment]) -> Iterator[tuple[Assignment, Assignment]]:
    """Pairs of assignments, ordered by start, that overlap."""
    for i, one in enumerate(several):
        for other in several[i + 1 :]:
            if other.start >= one.end:
                break
            yield one, other


def ways(plan: Plan) -> Iterator[Broken]:
    """Judge (5, 19): time to walk, wash, take over and drive before each job."""
    for job, given in plan.pairs:
        for leg in plan.legs[job.id]:
            befores = [plan.given[key] for key in (leg.before, leg.machine_before) if key]
            if any(before.end > given.start for before in befores):
                continue  # two jobs at once, told as that
            late_min = minutes_between(given.start, _ready_at(plan, given, leg))
            if late_min > _TOLERANCE / timedelta(minutes=1):
                yield _late(plan, given, leg, late_min)


def _late(plan: Plan, given: Assignment, leg: Leg, late_min: float) -> Broken:
    code, other = "person_late", leg.before
    if leg.person is None:
        code, other = "machine_late", leg.machine_before
    if leg.wash_min and _ready_at(plan, given, replace(leg, wash_min=0)) <= given.start:
        code, other = "bucket_not_washed", leg.machine_before
    machine = given.machine if leg.is_with_machine else None
    facts = {"late_min": late_min}
    return Broken(code, given.job, leg.person, machine, other_job=other, facts=facts)


def _ready_at(plan: Plan, given: Assignment, leg: Leg) -> datetime:
    """Instant at which the person, or the machine, of a leg can begin."""
    at = given.start
    person = None if leg.person is None else plan.people[leg.person]
    if person is not None:
        shift = person.shift_at(given.start)
        if leg.before is not None:
            free = plan.given[leg.before].end
        elif shift is not None:
            free = shift.start
        else:
            return given.start  # told as off_shift
        at = _passed(person, free, leg.walk_min)
    if not leg.is_with_machine or given.machine is None:
        return at
    known = [] if person is None else [at]
    if leg.machine_before is not None:
        known.append(plan.given[leg.machine_before].end)
    known += [s.start for s in plan.machines[given.machine].available if s.start <= given.start]
    known += [h.end for h in plan.machines[given.machine].holds if h.end <= given.start]
    needed_min = leg.wash_min + leg.hookup_min + leg.drive_min
    return _passed(person, max(known, default=given.start), needed_min)


def _passed(person: Person | None, at: datetime, needed_min: float) -> datetime:
    """Instant at which so many minutes have passed outside the person's breaks."""
    left = timedelta(minutes=needed_min)
    pauses = [] if person is None else sorted(person.breaks, key=lambda pause: pause.start)
    for pause in pauses:
        if pause.end <= at or at + left <= pause.start:
            continue
        left -= max(timedelta(0), pause.start - at)
        at = pause.end
    return at + left


def dependencies(plan: Plan) -> Iterator[Broken]:
    """Judge (12): what a job waits for is done, and the gap to it is kept."""
    for job, given in plan.pairs:
        for dependency in job.depends_on:
            before = plan.given.get(dependency.on)
            if before is None:
                yield Broken("predecessor_left_out", job.id, other_job=dependency.on)
            else:
                yield from _gap(dependency, before, given)


def _gap(dependency: Dependency, before: Assignment, after: Assignment) -> Iterator[Broken]:
    from_start = (Relation.START_TO_START, Relation.START_TO_FINISH)
    to_end = (Relation.FINISH_TO_FINISH, Relation.START_TO_FINISH)
    start = before.start if dependency.relation in from_start else before.end
    end = after.end if dependency.relation in to_end else after.start
    gap_min, least, most = minutes_between(start, end), dependency.min_gap_min, None
    if gap_min < least - 1e-3:
        facts: dict[str, Fact] = {"needs_min": least, "has_min": gap_min}
        yield Broken("gap_too_short", after.job, other_job=before.job, facts=facts)
    most = dependency.max_gap_min
    if most is not None and gap_min > most + 1e-3:
        facts = {"most_min": most, "has_min": gap_min}
        yield Broken("gap_too_long", after.job, other_job=before.job, facts=facts)


def locks(plan: Plan) -> Iterator[Broken]:
    """Judge: what is locked is where it is locked."""
    for job in plan.problem.jobs:
        kept = job.locked
        given = plan.given.get(job.id)
        if kept is not None and (
            given is None
            or (given.people, given.machine, given.start, given.end)
            != (kept.people, kept.machine, kept.start, kept.end)
        ):
            yield Broken("lock_moved", job.id)


RULES: tuple[Rule, ...] = (
    windows,
    blocks,
    lengths,
    teams,
    machines,
    holds,
    shifts,
    overlaps,
    ways,
    dependencies,
    locks,
)


def _holds(spans: Iterable[Interval], given: Assignment) -> bool:
    return any(span.start <= given.start and given.end <= span.end for span in spans)


def _overlap_min(one: Interval | Block | Assignment, other: Assignment) -> float:
    return max(0.0, minutes_between(max(one.start, other.start), min(one.end, other.end)))
