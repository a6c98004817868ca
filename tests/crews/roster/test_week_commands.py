"""`solve_week` and `check_week`: files in, files out, clear refusals and exit codes."""

import json
import os
import signal
import time
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from crews.roster.calc.json_io import problem_to_json, solution_from_json
from crews.roster.calc.problem import Given, Problem
from crews.roster.calc.search import Progress
from crews.roster.calc.solution import Status

from .public_instances import shift_scheduling_instance
from .weeks import a_week, on, wanted


def written(folder: Path, problem: Problem) -> Path:
    path = folder / "problem.json"
    path.write_text(problem_to_json(problem))
    return path


def run(*arguments: object) -> str:
    out = StringIO()
    call_command(*[str(argument) for argument in arguments], stdout=out)
    return out.getvalue()


def test_a_published_week_is_solved_and_judged(tmp_path: Path) -> None:
    problem, out = written(tmp_path, shift_scheduling_instance(1)), tmp_path / "solution.json"

    told = run("solve_week", problem, "--out", out, "--seconds", 20, "--workers", 1, "--seed", 7)
    judged = run("check_week", problem, out)

    assert told.splitlines()[-1].split() == ["optimal", "607.00", "607.00", "0.00", "%"]
    assert judged.splitlines()[-2].split() == ["total_cost", "607", "607"]
    assert judged.splitlines()[-1] == "Feasible."


def test_the_same_seed_and_iterations_write_the_same_file(tmp_path: Path) -> None:
    problem = written(tmp_path, a_week(n_days=7))
    for name in ("one", "two"):
        run("solve_week", problem, "--out", tmp_path / name, "--iterations", 3, "--seed", 3)

    assert (tmp_path / "one").read_text() == (tmp_path / "two").read_text()


def test_an_impossible_week_names_its_clash_and_exits_with_2(tmp_path: Path) -> None:
    week = a_week(demand=wanted([1], least=2), fixed=(Given("a", on(0), "day"),))
    out = tmp_path / "solution.json"
    printed = StringIO()

    with pytest.raises(CommandError) as refusal:
        call_command("solve_week", str(written(tmp_path, week)), "--out", str(out), stdout=printed)

    assert refusal.value.returncode == 2
    assert printed.getvalue().splitlines() == ["least  day  2026-06-02"]
    assert solution_from_json(out.read_text()).status is Status.INFEASIBLE


def test_a_broken_roster_exits_with_2_and_names_each_rule(tmp_path: Path) -> None:
    problem, out = written(tmp_path, a_week()), tmp_path / "solution.json"
    run("solve_week", problem, "--out", out)
    data = json.loads(out.read_text())
    data["assignments"].append({"person": "a", "on": "2026-06-02", "kind": "night"})
    out.write_text(json.dumps(data))
    printed = StringIO()

    with pytest.raises(CommandError) as refusal:
        call_command("check_week", str(problem), str(out), stdout=printed)

    assert refusal.value.returncode == 2
    assert printed.getvalue().startswith("two_shifts_a_day person=a on=2026-06-02")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"{", "is not JSON"),
        (b"\xff", "is not UTF-8"),
        (b'{"schema": "penround/day-problem/1"}', "$.schema: must be"),
        (b'{"schema": "penround/week-problem/1"}', "$.starts_on: is missing"),
    ],
)
def test_a_bad_file_is_refused_with_what_and_where(tmp_path: Path, text: bytes, told: str) -> None:
    path = tmp_path / "problem.json"
    path.write_bytes(text)

    with pytest.raises(CommandError) as refusal:
        run("solve_week", path, "--out", tmp_path / "out")
    assert str(path) in str(refusal.value)
    assert told in str(refusal.value)


def test_a_missing_file_and_a_bad_limit_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="No such file"):
        run("check_week", tmp_path / "none", tmp_path / "none")
    with pytest.raises(CommandError, match="0 or more"):
        run("solve_week", tmp_path / "none", "--out", tmp_path / "out", "--seconds", -1)


def test_an_interrupt_keeps_the_best(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from crews.management.commands.solve_week import Command

    plain = Command._tell
    pressed: list[Progress] = []

    def interrupt(self: Command, told: Progress) -> None:
        if not pressed:  # as Ctrl-C does, at the first roster found; a second one ends all
            pressed.append(told)
            os.kill(os.getpid(), signal.SIGINT)
        plain(self, told)

    monkeypatch.setattr(Command, "_tell", interrupt)
    out = tmp_path / "solution.json"

    begun = time.monotonic()
    week = written(tmp_path, shift_scheduling_instance(8))  # minutes away from a proof
    run("solve_week", week, "--out", out, "--seconds", 600)

    assert pressed
    assert time.monotonic() - begun < 300
    assert solution_from_json(out.read_text()).status is Status.FEASIBLE
