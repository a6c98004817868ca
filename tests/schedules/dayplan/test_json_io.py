"""The JSON form: exact round trips, and refusals that name the path."""

import json
from typing import Any

import pytest

from schedules.dayplan.calc.json_io import (
    problem_from_json,
    problem_to_json,
    solution_from_json,
    solution_to_json,
)
from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.problem import Booking, Dependency, Relation
from schedules.dayplan.calc.resources import ProblemError

from .days import farm_day
from .tiny import a_day, a_job, a_machine, a_person, at, booked, solved, span

# Written by hand, as the documentation has it: only what has no default, local offsets.
SMALL = """
{"schema": "penround/day-problem/1",
 "horizon": {"start": "2026-05-03T18:00:00-06:00", "end": "2026-05-04T02:00:00-06:00"},
 "places": [{"key": "barn", "x_m": 0, "y_m": 0}],
 "people": [{"id": "ana", "start_place": "barn",
             "shifts": [{"start": "2026-05-04T00:00:00Z", "end": "2026-05-04T08:00:00Z"}]}],
 "jobs": [{"id": "job", "kind": "work", "place": "barn", "duration_min": 20,
           "windows": [{"start": "2026-05-04T00:00:00Z", "end": "2026-05-04T01:00:00Z"}],
           "depends_on": [{"on": "first", "relation": "FINISHTOSTART"}]},
          {"id": "first", "kind": "work", "place": "barn", "duration_min": 7.5,
           "windows": [{"start": "2026-05-04T00:00:00Z", "end": "2026-05-04T01:00:00Z"}]}]}
"""


def changed(path: str, value: Any) -> str:
    """Return the small problem with one value changed: "jobs.0.priority"."""
    data = json.loads(SMALL)
    *parents, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    target = data
    for key in parents:
        target = target[key]
    target[last] = value
    return json.dumps(data)


def test_a_problem_written_by_hand_is_read() -> None:
    problem = problem_from_json(SMALL)

    assert problem.horizon == span(0, 480)
    assert problem.jobs[0].depends_on == (Dependency("first", Relation.FINISH_TO_START),)
    assert problem.jobs[1].duration_min == 7.5


def test_a_whole_day_comes_back_as_it_was() -> None:
    problem = farm_day(seed=1, n_checks=10)
    text = problem_to_json(problem)

    assert problem_from_json(text) == problem
    assert problem_to_json(problem_from_json(text)) == text


def test_locks_and_the_plan_before_come_back_as_they_were() -> None:
    previous = Booking(("ana", "ben"), None, at(0.1), at(20))
    job = a_job(locked=booked("ana", -5, 20, "loader-1"), previous=previous, due_at=at(50))
    problem = a_day(a_person(), a_machine(), job)

    assert problem_from_json(problem_to_json(problem)) == problem


def test_a_solution_comes_back_as_it_was() -> None:
    problem = farm_day(seed=2, n_people_a_shift=8, n_checks=10)
    solution = solve_day(problem, seed=1, iterations=0)
    text = solution_to_json(solution)

    assert solution.left_out
    assert solution_from_json(text) == solution
    assert solution_to_json(solution_from_json(text)) == text


def test_the_form_names_its_schema_and_every_record_field() -> None:
    data = json.loads(solution_to_json(solved(a_day(a_person(), a_job()))))

    assert data["schema"] == "penround/day-solution/1"
    assert set(data["assignments"][0]) == {
        "job",
        "people",
        "machine",
        "start",
        "end",
        "travel_min",
        "calls_at",
    }


REFUSED = {
    "no JSON": ("{", r"\$: is not JSON"),
    "other schema": (changed("schema", "x/2"), r"\$.schema: must be 'penround/day-problem/1'"),
    "unknown field": (changed("jobs.0.colour", 1), r"\$.jobs\[0\].colour: is not a known field"),
    "no offset": (
        changed("horizon.start", "2026-05-04T00:00:00"),
        r"\$.horizon.start: .* is not a datetime: an instant needs an offset",
    ),
    "no instant": (changed("horizon.end", "noon"), r"\$.horizon.end: 'noon' is not a datetime"),
    "text for number": (
        changed("jobs.0.duration_min", "20"),
        r"\$.jobs\[0\].duration_min: '20' is not a float",
    ),
    "true for number": (
        changed("jobs.0.n_people", True),
        r"\$.jobs\[0\].n_people: True is not a int",
    ),
    "no list": (changed("people", {}), r"\$.people: must be a list"),
    "no object": (changed("people.0", "ana"), r"\$.people\[0\]: must be an object"),
    "unknown relation": (
        changed("jobs.0.depends_on.0.relation", "FS"),
        r"\$.jobs\[0\].depends_on\[0\].relation: 'FS' is not a Relation",
    ),
    "rule of a record": (changed("jobs.0.priority", 0), "job 'job': priority 0 is not in 1..9"),
}


@pytest.mark.parametrize(("text", "message"), list(REFUSED.values()), ids=list(REFUSED))
def test_what_is_no_problem_is_refused_with_its_path(text: str, message: str) -> None:
    with pytest.raises(ProblemError, match=message):
        problem_from_json(text)


def test_a_missing_field_is_named() -> None:
    with pytest.raises(ProblemError, match=r"\$.places\[0\].x_m: is missing"):
        problem_from_json(SMALL.replace('"x_m": 0, ', ""))
