"""The score of a plan, computed from the problem and its assignments, without the search."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from schedules.dayplan.calc.legs import travel_legs, turns_of
from schedules.dayplan.calc.problem import Booking, Job, Problem, Weights
from schedules.dayplan.calc.resources import minutes_between
from schedules.dayplan.calc.solution import Assignment, Score


def score_plan(problem: Problem, assignments: Iterable[Assignment]) -> Score:
    """Score a plan from the problem and the assignments alone.

    Parameters
    ----------
    problem : Problem
    assignments : iterable of Assignment
        Their `travel_min` is not trusted but computed again. What is not among them is left out.
    """
    given = {assignment.job: assignment for assignment in assignments}
    weights, jobs = problem.weights, problem.jobs
    done = [(job, given[job.id]) for job in jobs if job.id in given]
    legs = travel_legs(problem, given.values())
    turns = turns_of(problem, given.values(), legs)
    score = Score(
        left_out_cost=sum(_left_out_cost(job, weights) for job in jobs if job.id not in given),
        late_min=sum(_late_min(job, assignment) for job, assignment in done),
        overtime_min=sum(max(0, minutes_between(t.shift.end, t.back_at)) for t in turns),
        travel_min=sum(leg.travel_min for several in legs.values() for leg in several)
        + sum(turn.back_min for turn in turns),
        n_off_crew=_n_off_crew(problem, done),
        n_changes=sum(_is_changed(j, given.get(j.id), weights.change_tolerance_min) for j in jobs),
        total_cost=0,
        duty_min=sum(minutes_between(turn.leaves_at, turn.back_at) for turn in turns),
        uneven_min=_uneven_min(problem, given.values()),
    )
    late_cost = sum(_late_per_min(job, weights) * _late_min(job, now) for job, now in done)
    return replace(score, total_cost=_total_cost(score, late_cost, weights))


def _total_cost(score: Score, late_cost: float, weights: Weights) -> float:
    return (
        score.left_out_cost
        + late_cost
        + weights.overtime_per_min * score.overtime_min
        + weights.travel_per_min * score.travel_min
        + weights.off_crew_per_job * score.n_off_crew
        + weights.change_per_job * score.n_changes
        + weights.duty_per_min * score.duty_min
        + weights.balance_per_min * score.uneven_min
    )


def _left_out_cost(job: Job, weights: Weights) -> float:
    own = job.left_out_cost
    return weights.left_out[job.priority - 1] if own is None else own


def _late_per_min(job: Job, weights: Weights) -> float:
    return weights.late_per_min if job.late_per_min is None else job.late_per_min


def _late_min(job: Job, assignment: Assignment) -> float:
    if job.due_at is None:
        return 0
    return max(0.0, minutes_between(job.due_at, assignment.end))


def _uneven_min(problem: Problem, assignments: Iterable[Assignment]) -> float:
    """Minutes worked beyond an even share of all jobs' minutes, of all people [min]."""
    worked_min: dict[str, float] = defaultdict(float)
    for assignment in assignments:
        for person in assignment.people:
            worked_min[person] += minutes_between(assignment.start, assignment.end)
    shift_min = {
        person.id: sum(minutes_between(shift.start, shift.end) for shift in person.shifts)
        for person in problem.people
    }
    all_min = sum(job.duration_min * job.n_people for job in problem.jobs)
    per_min = all_min / (sum(shift_min.values()) or 1)
    return sum(max(0, worked_min[key] - per_min * on_min) for key, on_min in shift_min.items())


def _n_off_crew(problem: Problem, done: Iterable[tuple[Job, Assignment]]) -> int:
    crew_of = {person.id: person.crew for person in problem.people}
    return sum(
        job.preferred_crew is not None
        and any(crew_of[person] != job.preferred_crew for person in assignment.people)
        for job, assignment in done
    )


def _is_changed(job: Job, now: Assignment | None, tolerance_min: float) -> bool:
    if job.previous is None:
        return False
    return now is None or is_moved(job.previous, now, tolerance_min)


def is_moved(
    before: Booking | Assignment, after: Booking | Assignment, tolerance_min: float
) -> bool:
    """Whether a job has other people, another machine, or a start moved by more than tolerated."""
    return (
        set(before.people) != set(after.people)
        or before.machine != after.machine
        or abs(minutes_between(before.start, after.start)) > tolerance_min
    )
