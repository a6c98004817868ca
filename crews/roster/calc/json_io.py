"""The documented JSON form of a roster problem and of its solution.

`problem` and `solution` list the fields with their units; `record_json` says how they are written.
`schema`, at the top, is "penround/week-problem/1" or "penround/week-solution/1".
"""

from __future__ import annotations

from crews.roster.calc import problem as problem_records
from crews.roster.calc import solution as solution_records
from crews.roster.calc.problem import Problem, ProblemError
from crews.roster.calc.solution import Solution
from equipment.site.calc.record_json import JsonObject, from_text, json_schema_of, to_text


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


def schemas() -> dict[str, JsonObject]:
    """JSON Schema of both forms, by the name of the file in the repository that holds it."""
    return {
        "week-problem.schema.json": json_schema_of(problem_records.SCHEMA, Problem),
        "week-solution.schema.json": json_schema_of(solution_records.SCHEMA, Solution),
    }
