"""Smallest days: one place or a few, one person or a few, minutes from midnight UTC."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Booking, Job, Problem
from schedules.dayplan.calc.resources import (
    Block,
    Interval,
    Machine,
    Person,
    Place,
    Shift,
    Skill,
)
from schedules.dayplan.calc.score import score_plan
from schedules.dayplan.calc.solution import Assignment, LeftOut, Solution, Status

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)


def at(minute: float) -> datetime:
    return MIDNIGHT + timedelta(minutes=minute)


def span(start_min: float, end_min: float) -> Interval:
    return Interval(at(start_min), at(end_min))


def minute_of(instant: datetime) -> float:
    return (instant - MIDNIGHT) / timedelta(minutes=1)


def a_job(key: str = "job", **fields: Any) -> Job:
    """Build twenty minutes of work at the barn within the first hour."""
    given: dict[str, Any] = {
        "kind": "work",
        "place": "barn",
        "windows": (span(0, 60),),
        "duration_min": 20,
    }
    return Job(key, **(given | fields))


def a_person(key: str = "ana", *skills: str | Skill, **fields: Any) -> Person:
    """Build somebody on shift for the whole day, at the barn when it starts."""
    held = tuple(s if isinstance(s, Skill) else Skill(s) for s in skills)
    given: dict[str, Any] = {"start_place": "barn", "shifts": (Shift(at(0), at(480)),)}
    return Person(key, **(given | {"skills": held} | fields))


def a_machine(key: str = "loader-1", **fields: Any) -> Machine:
    """Build a loader that stands at the barn all day and that anybody may drive."""
    given: dict[str, Any] = {
        "kind": "loader",
        "start_place": "barn",
        "speed_m_min": 100,
        "available": (span(0, 480),),
    }
    return Machine(key, **(given | fields))


def a_day(*records: Job | Person | Machine | Block | Place, **fields: Any) -> Problem:
    """Build a day of eight hours; field and lot lie ten and five walking minutes from the barn."""
    places = (
        Place("barn", 0, 0),
        Place("field", 800, 0),
        Place("lot", 0, 400),
        Place("bay", 0, 0, is_exclusive=True),
    )
    given: dict[str, Any] = {
        "horizon": span(0, 480),
        "places": (*places, *(r for r in records if isinstance(r, Place))),
        "people": tuple(r for r in records if isinstance(r, Person)),
        "machines": tuple(r for r in records if isinstance(r, Machine)),
        "jobs": tuple(r for r in records if isinstance(r, Job)),
        "blocks": tuple(r for r in records if isinstance(r, Block)),
        "walk_m_min": 80,
        "detour_factor": 1,
    }
    return Problem(**(given | fields))


def solved(problem: Problem, iterations: int = 60) -> Solution:
    return solve_day(problem, seed=1, iterations=iterations)


def booked(people: str, start_min: float, end_min: float, machine: str | None = None) -> Booking:
    return Booking(tuple(people.split()), machine, at(start_min), at(end_min))


def plan_of(problem: Problem, **bookings: Booking) -> Solution:
    """Make a plan by hand, all figures right; what is not named is left out."""
    assignments = (
        Assignment(job.replace("_", "-"), b.people, b.machine, b.start, b.end)
        for job, b in bookings.items()
    )
    return plan_with(problem, *assignments)


def plan_with(problem: Problem, *assignments: Assignment) -> Solution:
    """Make a plan of assignments, all figures right; what is not among them is left out."""
    done = {assignment.job for assignment in assignments}
    return restated(
        problem,
        Solution(
            status=Status.FEASIBLE,
            assignments=assignments,
            left_out=tuple(LeftOut(job.id) for job in problem.jobs if job.id not in done),
            score=score_plan(problem, ()),
            bound_cost=0,
            seed=0,
            n_iterations=0,
        ),
    )


def restated(problem: Problem, solution: Solution) -> Solution:
    """State a plan's figures as another problem has them."""
    legs = travel_legs(problem, solution.assignments)
    assignments = tuple(
        replace(a, travel_min=sum(leg.travel_min for leg in legs[a.job]))
        for a in solution.assignments
    )
    score = score_plan(problem, assignments)
    return replace(solution, assignments=assignments, score=score)


def times_of(solution: Solution) -> dict[str, tuple[float, float]]:
    return {a.job: (minute_of(a.start), minute_of(a.end)) for a in solution.assignments}
