"""The documented JSON form of a problem and of a solution.

`problem`, `resources` and `solution` list the fields with their units; `record_json` says how they
are written. `schema`, at the top, is "penround/day-problem/1" or "penround/day-solution/1".
"""

from __future__ import annotations

from equipment.site.calc.record_json import from_text, to_text
from schedules.dayplan.calc import problem as problem_records
from schedules.dayplan.calc import solution as solution_records
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import ProblemError
from schedules.dayplan.calc.solution import Solution


def problem_to_json(problem: Problem) -> str:
    """Write a problem as JSON text, each record on its fields' names."""
    return to_text(problem_records.SCHEMA, problem)


def problem_from_json(text: str) -> Problem:
    """Read a problem from JSON text.

    Raises
    ------
    ProblemError
        The text is no problem: the path or the record, and the rule it breaks.
    """
    problem: Problem = from_text(problem_records.SCHEMA, Problem, text, ProblemError)
    return problem


def solution_to_json(solution: Solution) -> str:
    """Write a solution as JSON text."""
    return to_text(solution_records.SCHEMA, solution)


def solution_from_json(text: str) -> Solution:
    """Read a solution from JSON text.

    Raises
    ------
    ProblemError
        The text is no solution.
    """
    solution: Solution = from_text(solution_records.SCHEMA, Solution, text, ProblemError)
    return solution
