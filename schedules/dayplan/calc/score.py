"""The score of a plan, computed from the problem and its assignments, without the search."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.problem import Booking, Job, Problem
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
    left_out_cost = sum(weights.left_out[j.priority - 1] for j in jobs if j.id not in given)
    late_min = sum(_late_min(job, assignment) for job, assignment in done)
    overtime_min = _overtime_min(problem, given.values())
    legs = travel_legs(problem, given.values())
    travel_min = sum(leg.travel_min for several in legs.values() for leg in several)
    n_off_crew = _n_off_crew(problem, done)
    n_changes = sum(_is_changed(j, given.get(j.id), weights.change_tolerance_min) for j in jobs)
    total_cost = (
        left_out_cost
        + weights.late_per_min * late_min
        + weights.overtime_per_min * overtime_min
        + weights.travel_per_min * travel_min
        + weights.off_crew_per_job * n_off_crew
        + weights.change_per_job * n_changes
    )
    return Score(
        left_out_cost, late_min, overtime_min, travel_min, n_off_crew, n_changes, total_cost
    )


def _late_min(job: Job, assignment: Assignment) -> float:
    if job.due_at is None:
        return 0
    return max(0.0, minutes_between(job.due_at, assignment.end))


def _overtime_min(problem: Problem, assignments: Iterable[Assignment]) -> float:
    people = {person.id: person for person in problem.people}
    last_end: dict[tuple[str, datetime], datetime] = {}
    for assignment in assignments:
        for person in assignment.people:
            shift = people[person].shift_at(assignment.start)
            if shift is not None:
                key = (person, shift.end)
                last_end[key] = max(last_end.get(key, shift.end), assignment.end)
    return sum(minutes_between(end, last) for (_, end), last in last_end.items())


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
