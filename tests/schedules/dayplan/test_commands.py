"""`manage.py solve_day` and `manage.py check_day`, from file to file."""

import signal
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from schedules.dayplan.calc.json_io import (
    problem_to_json,
    solution_from_json,
    solution_to_json,
)
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.solution import Solution

from .tiny import a_day, a_job, a_person, at, booked, plan_of, span


def a_walk() -> Problem:
    """Two jobs, ten minutes apart: no plan does without the walk, so no search ends by itself."""
    return a_day(a_person(), a_job("a"), a_job("b", place="field", windows=(span(0, 90),)))


def written(folder: Path, problem: Problem, plan: Solution | None = None) -> list[str]:
    files = [folder / "problem.json", folder / "plan.json"]
    files[0].write_text(problem_to_json(problem))
    if plan is not None:
        files[1].write_text(solution_to_json(plan))
    return [str(file) for file in files]


def judged(folder: Path, problem: Problem, plan: Solution) -> str:
    out = StringIO()
    call_command("check_day", *written(folder, problem, plan), stdout=out)
    return out.getvalue()


def test_a_plan_is_found_told_written_and_judged(tmp_path: Path) -> None:
    problem, plan = written(tmp_path, a_walk())
    out, heard = StringIO(), StringIO()

    asked = (problem, "--out", plan, "--seconds", "0", "--seed", "3", "--workers", "2")
    call_command("solve_day", *asked, stdout=out, stderr=heard)
    call_command("check_day", problem, plan, stdout=out)

    found = solution_from_json(Path(plan).read_text())
    assert found.seed == 3
    assert found.score.total_cost == 10
    assert "cost 10.0" in heard.getvalue()
    told, *_, verdict = out.getvalue().splitlines()
    assert told == "feasible: cost 10.000, at least 0.000; 2 jobs given, 0 left"
    assert verdict == "feasible"


class Interrupting(StringIO):
    """Where Ctrl-C is pressed at the first word of progress."""

    n_lines = 0

    def write(self, text: str) -> int:
        self.n_lines += 1
        if self.n_lines == 1:
            signal.raise_signal(signal.SIGINT)
        return super().write(text)


def test_ctrl_c_keeps_the_best_plan_so_far(tmp_path: Path) -> None:
    problem, plan = written(tmp_path, a_walk())

    asked = (problem, "--out", plan, "--seconds", "500")
    call_command("solve_day", *asked, stdout=StringIO(), stderr=Interrupting())

    found = solution_from_json(Path(plan).read_text())
    assert len(found.assignments) == 2


def test_a_problem_that_is_none_is_refused_before_the_search(tmp_path: Path) -> None:
    file = tmp_path / "problem.json"
    file.write_text('{"schema": "penround/day-problem/1", "horizon": 5}')

    with pytest.raises(CommandError, match=r"problem\.json: \$\.places: is missing"):
        call_command("solve_day", str(file), "--out", str(tmp_path / "plan.json"))


def test_a_plan_that_keeps_the_rules_is_feasible_and_its_score_laid_open(tmp_path: Path) -> None:
    problem = a_walk()
    plan = plan_of(problem, a=booked("ana", 0, 20), b=booked("ana", 30, 50))

    lines = judged(tmp_path, problem, plan).splitlines()

    assert ["travel_min", "10", "10"] in [line.split() for line in lines]
    assert ["duty_min", "50", "50"] in [line.split() for line in lines]
    assert lines[-2:] == ["The score is as told.", "feasible"]


def test_broken_rules_are_named_with_whom_they_concern(tmp_path: Path) -> None:
    problem = a_walk()
    plan = plan_of(problem, a=booked("ana", 0, 20), b=booked("ana", 29, 49))
    lied = replace(plan, score=replace(plan.score, travel_min=4))
    out = StringIO()

    with pytest.raises(CommandError, match=r"Not feasible, 2 times over\.") as refused:
        call_command("check_day", *written(tmp_path, problem, lied), stdout=out)

    assert refused.value.returncode == 1
    lines = out.getvalue().splitlines()
    assert lines[0] == "person_late job=b person=ana other_job=a late_min=1"
    assert lines[1] == "score_misstated cause=travel_min told=4 is=10"
    assert lines[-1] == "The score differs."


def test_what_a_lock_breaks_is_named_and_let_pass(tmp_path: Path) -> None:
    problem = a_day(a_person(), a_job(locked=booked("ana", 490, 510)))
    out = judged(tmp_path, problem, plan_of(problem, job=booked("ana", 490, 510)))

    assert out.splitlines()[0] == "outside_window job=job locked"
    assert out.splitlines()[-1] == "feasible"


def test_strangers_are_named_without_a_score(tmp_path: Path) -> None:
    problem = a_walk()
    plan = plan_of(problem, a=booked("ana", 0, 20))
    stranger = replace(plan.assignments[0], job="who", end=at(30))
    out = StringIO()

    with pytest.raises(CommandError, match=r"Not feasible, 1 times over\."):
        call_command(
            "check_day",
            *written(tmp_path, problem, replace(plan, assignments=(stranger,))),
            stdout=out,
        )

    assert out.getvalue().splitlines() == ["unknown_job job=who"]
