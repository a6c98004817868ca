"""The judge of a plan: every broken rule by name, and the score computed again.

It shares no code with the search: it reads the problem's and the solution's records, in plain
instants, one rule after another. Codes:

====================== =================================================================
unknown_job            and unknown_person, unknown_machine, unknown_place: not in the problem
assigned_twice         one job, two assignments
not_accounted          neither assigned nor left out, or both
outside_window         not wholly inside one window; outside_horizon, outside_daylight alike
place_blocked          somebody there while nobody may be
too_short              less than the job's duration; heat_rest_missing: less with its rests
pause_missing          less with the breaks of its people in it
too_few_people         and too_many_people
skill_missing          and skill_lapsed before the end, skill_too_low: not at the level asked
machine_missing        and machine_unneeded, machine_of_wrong_kind
driver_unqualified     the first of the people may not drive this machine
machine_unavailable    and machine_held
off_shift              and on_break
person_twice           and machine_twice, place_twice: two jobs at once
person_late            cannot be there at the start; machine_late alike
no_way                 the roads do not lead there, or back
late_back              not back where the person must be by the latest end of the shift
bucket_not_washed      no time to wash between dirty and clean work
predecessor_left_out   waits for what nobody does; gap_too_short and gap_too_long
people_differ          and people_shared, machines_differ: bound jobs, both done
gear_short             more held at once than there is
item_missing           neither carried nor called for, or used up before
call_in_vain           a call where nothing is stocked, or by nobody
fuel_too_small         longer than the machine runs on a full tank
lock_moved             a locked job is not where it is locked
travel_misstated       and score_misstated: the solution's own figures are wrong
====================== =================================================================
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

from schedules.dayplan.calc.judged import TOLERANCE_MIN, Broken, Plan
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.rules import RULES
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Fact, Score, Solution


@dataclass(frozen=True, slots=True)
class Verdict:
    """All broken rules of a plan, and its score (none where it names what is not there)."""

    broken: tuple[Broken, ...]
    score: Score | None

    @property
    def is_feasible(self) -> bool:
        """Whether no rule is broken but by what was locked."""
        return all(rule.is_locked for rule in self.broken)


def check(problem: Problem, solution: Solution) -> Verdict:
    """Judge a plan.

    Parameters
    ----------
    problem : Problem
    solution : Solution
        Its reasons are not judged.

    Returns
    -------
    Verdict
    """
    unknown = tuple(_unknown(problem, solution))
    if unknown:
        return Verdict(unknown, None)
    plan = Plan(problem, solution.assignments)
    score = score_plan(problem, solution.assignments)
    broken = [
        *(rule for judge in RULES for rule in judge(plan)),
        *_accounted(problem, solution),
        *_figures(plan, solution, score),
    ]
    locked = {job.id for job in problem.jobs if job.locked is not None}
    return Verdict(tuple(replace(b, is_locked=_is_by_lock(b, locked)) for b in broken), score)


def _is_by_lock(broken: Broken, locked: set[str]) -> bool:
    """Whether locked jobs alone break the rule; a job put beside a locked one is the plan's."""
    if broken.code == "predecessor_left_out":
        return broken.job in locked
    return broken.job in locked and (broken.other_job is None or broken.other_job in locked)


def _unknown(problem: Problem, solution: Solution) -> Iterator[Broken]:
    jobs = {job.id for job in problem.jobs}
    people = {person.id for person in problem.people}
    machines = {machine.id for machine in problem.machines}
    places = {place.key for place in problem.places}
    for given in solution.assignments:
        if given.job not in jobs:
            yield Broken("unknown_job", given.job)
        for person in given.people:
            if person not in people:
                yield Broken("unknown_person", given.job, person)
        if given.machine is not None and given.machine not in machines:
            yield Broken("unknown_machine", given.job, machine=given.machine)
        if given.calls_at is not None and given.calls_at not in places:
            yield Broken("unknown_place", given.job, place=given.calls_at)


def _accounted(problem: Problem, solution: Solution) -> Iterator[Broken]:
    given = [assignment.job for assignment in solution.assignments]
    left_out = [left.job for left in solution.left_out]
    for job in problem.jobs:
        if given.count(job.id) > 1:
            yield Broken("assigned_twice", job.id)
        if (job.id in given) == (job.id in left_out):
            yield Broken("not_accounted", job.id)


def _figures(plan: Plan, solution: Solution, score: Score) -> Iterator[Broken]:
    for given in solution.assignments:
        travel_min = sum(leg.travel_min for leg in plan.legs[given.job])
        if abs(travel_min - given.travel_min) > TOLERANCE_MIN:
            facts: dict[str, Fact] = {"told_min": given.travel_min, "is_min": travel_min}
            yield Broken("travel_misstated", given.job, facts=facts)
    for field in fields(Score):
        told, found = getattr(solution.score, field.name), getattr(score, field.name)
        if abs(found - told) > TOLERANCE_MIN:
            facts = {"cause": field.name, "told": told, "is": found}
            yield Broken("score_misstated", facts=facts)
