"""The JSON form of roster problems and solutions, and the committed schemas."""

import json
from dataclasses import replace
from typing import Any

import jsonschema
import pytest

from config.rooms import BASE_DIR
from crews.roster.calc.json_io import (
    problem_from_json,
    problem_to_json,
    schemas,
    solution_from_json,
    solution_to_json,
)
from crews.roster.calc.problem import Measure, Person, ProblemError, Rule, SkillHeld

from .public_instances import shift_scheduling_instance
from .test_week_brute_force import a_problem
from .weeks import a_week, on, solved


@pytest.mark.parametrize("seed", range(12))
def test_a_problem_comes_back_as_it_was_and_keeps_the_schema(seed: int) -> None:
    problem = a_problem(seed)
    text = problem_to_json(problem)

    assert problem_from_json(text) == problem
    jsonschema.Draft202012Validator(schemas()["week-problem.schema.json"]).validate(
        json.loads(text)
    )


def test_a_solution_comes_back_as_it_was_and_keeps_the_schema() -> None:
    solution = solved(shift_scheduling_instance(1))
    text = solution_to_json(solution)

    assert solution_from_json(text) == solution
    jsonschema.Draft202012Validator(schemas()["week-solution.schema.json"]).validate(
        json.loads(text)
    )


@pytest.mark.parametrize("name", list(schemas()))
def test_the_committed_schema_is_the_one_the_records_give(name: str) -> None:
    """Run `python -m tests.crews.roster.write_schemas` after a change of the records."""
    committed = json.loads((BASE_DIR / "crews" / "roster" / name).read_text())

    assert committed == schemas()[name]


@pytest.mark.parametrize(
    ("change", "record"),
    [
        ({"n_days": 0}, "problem"),
        ({"zone": "Mars/Olympus"}, "problem"),
        ({"n_days": "7"}, "$.n_days"),
        ({"unknown": 1}, "$.unknown"),
        ({"demand": [{"on": "2027-01-01", "kind": "day"}]}, "problem"),
        ({"demand": [{"on": "2026-06-01", "kind": "noon"}]}, "demand of 2026-06-01"),
        ({"people": [{"id": "a", "contract": "none"}]}, "person 'a'"),
        (
            {"wishes": [{"person": "z", "on": "2026-06-01", "price": 1}]},
            "wish of 'z' on 2026-06-01",
        ),
        ({"kinds": [{"id": "day", "starts_local": "06:00", "duration_min": 1441}]}, "kind 'day'"),
    ],
)
def test_nonsense_is_refused_with_its_record(change: dict[str, Any], record: str) -> None:
    data = json.loads(problem_to_json(a_week())) | change

    with pytest.raises(ProblemError) as refusal:
        problem_from_json(json.dumps(data))
    assert refusal.value.record == record


def test_rules_that_cannot_be_are_refused() -> None:
    with pytest.raises(ProblemError, match="neither"):
        Rule("r", Measure.SHIFTS)
    with pytest.raises(ProblemError, match="below least"):
        Rule("r", Measure.SHIFTS, 3, 2)
    with pytest.raises(ProblemError, match="no most"):
        Rule("r", Measure.REST_MIN, most=3)
    with pytest.raises(ProblemError, match="not counted weekly"):
        Rule("r", Measure.WEEKENDS, most=3, is_weekly=True)


def test_a_skill_lapses_on_its_date() -> None:
    person = Person("a", "all", skills=(SkillHeld("loader", until_on=on(3)),))

    assert person.holds("loader", on(2))
    assert not person.holds("loader", on(3))
    assert replace(person, skills=()).holds(None, on(3))
