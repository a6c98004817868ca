"""The rules of a day's plan, one function each, read off the records in plain instants.

The numbers in brackets are those of the constraints in the work catalogue's section 3.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime

from schedules.dayplan.calc.judged import (
    TOLERANCE,
    TOLERANCE_MIN,
    Broken,
    Plan,
    Rule,
    overlap_min,
)
from schedules.dayplan.calc.legs import Leg, passed
from schedules.dayplan.calc.problem import Dependency, Job, Relation
from schedules.dayplan.calc.provisions import fuel, gear, items
from schedules.dayplan.calc.resources import (
    Interval,
    Person,
    Skill,
    end_with_rest,
    minutes_between,
)
from schedules.dayplan.calc.solution import Assignment, Fact


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
            if block.place in job.places and overlap_min(block, given) > 0:
                facts: dict[str, Fact] = {"why": block.why, "min": overlap_min(block, given)}
                yield Broken("place_blocked", job.id, place=block.place, facts=facts)


def lengths(plan: Plan) -> Iterator[Broken]:
    """Judge (22): long enough for the work, the rests that heat asks for and breaks in it."""
    for job, given in plan.pairs:
        if job.locked is None:
            yield from _length(plan, job, given)


def _length(plan: Plan, job: Job, given: Assignment) -> Iterator[Broken]:
    machine = plan.machine_of(given)
    work_min = job.duration_for(None if machine is None else machine.kind, len(given.people))
    team = [plan.people[person] for person in given.people]
    pauses = [pause for person in team for pause in person.breaks if job.may_pause]
    rested = end_with_rest(team, given.start, work_min, job.effort)
    needed = end_with_rest(team, given.start, work_min, job.effort, pauses)
    if given.end < needed - TOLERANCE:
        has_min = minutes_between(given.start, given.end)
        code = "heat_rest_missing" if given.end < rested - TOLERANCE else "pause_missing"
        if has_min < work_min - TOLERANCE_MIN:
            code = "too_short"
        facts = {"needs_min": minutes_between(given.start, needed), "has_min": has_min}
        yield Broken(code, job.id, facts=facts)


def teams(plan: Plan) -> Iterator[Broken]:
    """Judge (8, 25): a crew of a size asked, each with the skills asked of all, to the end."""
    for job, given in plan.pairs:
        n_people = len(set(given.people))
        if n_people not in job.sizes:
            more = [n for n in job.sizes if n > n_people]
            code = "too_few_people" if more else "too_many_people"
            needs = min(more, default=max(job.sizes))
            yield Broken(code, job.id, facts={"needs": needs, "has": n_people})
        for person in given.people:
            for skill in job.skills:
                yield from _skill(plan.people[person], Skill(skill, None, job.skill_level), given)


def seats(plan: Plan) -> Iterator[Broken]:
    """Judge (8, 25): the people hold what their seats ask, in the order they are named."""
    for job, given in plan.pairs:
        for person, seat in zip(given.people, job.seats, strict=False):
            for skill in seat.skills:
                yield from _skill(plan.people[person], Skill(skill, None, seat.level), given)


def _skill(person: Person, asked: Skill, given: Assignment) -> Iterator[Broken]:
    if person.has_skill(asked.key, given.end, asked.level):
        return
    facts: dict[str, Fact] = {"skill": asked.key}
    held = next((skill for skill in person.skills if skill.key == asked.key), None)
    code = "skill_missing" if held is None else "skill_lapsed"
    if held is not None and held.level < asked.level:
        code, facts = "skill_too_low", facts | {"needs": asked.level, "has": held.level}
    yield Broken(code, given.job, person.id, facts=facts)


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
        elif job.is_driven and machine.driver_skill is not None and given.people:
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
        if machine is not None and any(overlap_min(hold, given) > 0 for hold in machine.holds):
            yield Broken("machine_held", job.id, machine=machine.id)


def shifts(plan: Plan) -> Iterator[Broken]:
    """Judge (23): everybody on shift, nobody on a break but where work may be left for it."""
    for job, given in plan.pairs:
        for person in (plan.people[key] for key in given.people):
            shift = person.shift_at(given.start)
            if shift is None or given.end > shift.latest_end:
                yield Broken("off_shift", job.id, person.id)
            for pause in person.breaks:
                is_begun_in = pause.start <= given.start < pause.end
                if is_begun_in or (overlap_min(pause, given) > 0 and not job.may_pause):
                    facts = {"min": overlap_min(pause, given)}
                    yield Broken("on_break", job.id, person.id, facts=facts)


def overlaps(plan: Plan) -> Iterator[Broken]:
    """Judge (5, 23): no person, machine or exclusive place has two jobs at once."""
    exclusive = {place.key for place in plan.problem.places if place.is_exclusive}
    users: dict[tuple[str, str], list[Assignment]] = defaultdict(list)
    for job, given in plan.pairs:
        if given.start == given.end:
            continue  # a milestone takes no time
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
                {"min": overlap_min(one, other)},
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
            ready_at = _ready_at(plan, given, leg)
            if ready_at > given.start + TOLERANCE:
                yield _late(plan, given, leg, minutes_between(given.start, ready_at))


def _late(plan: Plan, given: Assignment, leg: Leg, late_min: float) -> Broken:
    code, other = "person_late", leg.before
    if leg.person is None:
        code, other = "machine_late", leg.machine_before
    if leg.wash_min and _ready_at(plan, given, replace(leg, wash_min=0)) <= given.start:
        code, other = "bucket_not_washed", leg.machine_before
    machine = given.machine if leg.is_with_machine else None
    facts = {"late_min": late_min}
    if not leg.has_way:
        place = plan.jobs[given.job].place
        return Broken("no_way", given.job, leg.person, machine, place, other)
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
        at = passed(person, free, leg.till_machine_min)
    if not leg.is_with_machine or given.machine is None:
        return at
    known = [] if person is None else [at]
    if leg.machine_before is not None:
        known.append(plan.given[leg.machine_before].end)
    known += [s.start for s in plan.machines[given.machine].available if s.start <= given.start]
    known += [h.end for h in plan.machines[given.machine].holds if h.end <= given.start]
    return passed(person, max(known, default=given.start), leg.with_machine_min)


def returns(plan: Plan) -> Iterator[Broken]:
    """Judge (23): everybody back where they must be by the end of the shift and its overtime."""
    for turn in plan.turns:
        place, latest = plan.people[turn.person].end_place, turn.shift.latest_end
        if place is None or plan.given[turn.last].end > latest:
            continue  # the latter told as off_shift
        if not turn.has_way:
            yield Broken("no_way", turn.last, turn.person, place=place)
        elif turn.back_at > latest + TOLERANCE:
            facts = {"late_min": minutes_between(latest, turn.back_at)}
            yield Broken("late_back", turn.last, turn.person, place=place, facts=facts)


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
    if gap_min < least - TOLERANCE_MIN:
        facts: dict[str, Fact] = {"needs_min": least, "has_min": gap_min}
        yield Broken("gap_too_short", after.job, other_job=before.job, facts=facts)
    most = dependency.max_gap_min
    if most is not None and gap_min > most + TOLERANCE_MIN:
        facts = {"most_min": most, "has_min": gap_min}
        yield Broken("gap_too_long", after.job, other_job=before.job, facts=facts)


def bonds(plan: Plan) -> Iterator[Broken]:
    """Judge: jobs that are both done share all of their people, none of them, or their machine.

    A job without people, or without a machine, has none to share.
    """
    for job, given in plan.pairs:
        people = set(given.people)
        for key, other in _done(plan, job.same_people_as):
            if people and other.people and set(other.people) != people:
                yield Broken("people_differ", job.id, other_job=key)
        for key, other in _done(plan, job.other_people_than):
            for person in sorted(people.intersection(other.people)):
                yield Broken("people_shared", job.id, person, other_job=key)
        for key, other in _done(plan, job.same_machine_as):
            if None not in (given.machine, other.machine) and other.machine != given.machine:
                yield Broken("machines_differ", job.id, machine=given.machine, other_job=key)


def _done(plan: Plan, jobs: Iterable[str]) -> Iterator[tuple[str, Assignment]]:
    return ((key, plan.given[key]) for key in jobs if key in plan.given)


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
    seats,
    machines,
    holds,
    shifts,
    overlaps,
    ways,
    returns,
    dependencies,
    bonds,
    gear,
    items,
    fuel,
    locks,
)


def _holds(spans: Iterable[Interval], given: Assignment) -> bool:
    return any(span.start <= given.start and given.end <= span.end for span in spans)
