"""The JSON Schemas beside the room are those of its records.

`python -m tests.schedules.dayplan.test_json_schema` writes them.
"""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from equipment.site.calc.record_json import json_schema_of
from schedules.dayplan.calc import problem, solution
from schedules.dayplan.calc.json_io import problem_to_json, solution_to_json

from .days import farm_day
from .tiny import a_day, a_job, a_person, booked, plan_of

ROOM = Path(problem.__file__).parents[1]
KINDS: dict[str, tuple[str, type]] = {
    "day-problem": (problem.SCHEMA, problem.Problem),
    "day-solution": (solution.SCHEMA, solution.Solution),
}


def file_of(name: str) -> Path:
    return ROOM / f"{name}.schema.json"


def schema_text(name: str) -> str:
    return json.dumps(json_schema_of(*KINDS[name]), indent=2, ensure_ascii=False) + "\n"


def validator(name: str) -> Any:
    return jsonschema.Draft202012Validator(json.loads(file_of(name).read_text()))


@pytest.mark.parametrize("name", KINDS)
def test_the_schema_beside_the_room_is_that_of_its_records(name: str) -> None:
    assert file_of(name).read_text() == schema_text(name)


def test_a_farms_day_keeps_the_schema() -> None:
    text = problem_to_json(farm_day())

    validator("day-problem").validate(json.loads(text))


def test_a_plan_keeps_the_schema() -> None:
    day = a_day(a_person(), a_job())

    validator("day-solution").validate(
        json.loads(solution_to_json(plan_of(day, job=booked("ana", 0, 20))))
    )


def test_a_misspelt_field_does_not_keep_it() -> None:
    data = json.loads(problem_to_json(a_day(a_job())))
    data["jobs"][0]["durations_min"] = 5

    faults = [fault.message for fault in validator("day-problem").iter_errors(data)]

    assert len(faults) == 1
    assert "durations_min" in faults[0]


if __name__ == "__main__":
    for key in KINDS:
        file_of(key).write_text(schema_text(key))
