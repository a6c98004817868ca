"""`python -m tests.schedules.dayplan.public_table [NAME ...]`: published problems as days.

Each line: the best known makespan, ours, our bound and time, and the same of a direct CP-SAT model
with the same time and cores. Of technicians' days: the best known time on duty, and ours as worked
out from our tours by the published rules; no direct model. Sources:
fixtures/published/dayplan/README.md.
"""

import math
import os
import sys
from argparse import ArgumentParser
from dataclasses import dataclass
from time import perf_counter

from ortools.sat.python import cp_model

from config import compiled_code
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.solution import Solution

from .public_instances import (
    LagProject,
    SkillProject,
    lag_project,
    skill_project,
    technician_day,
    time_on_duty,
)
from .public_problems import lag_day, skill_day, technician_problem, technician_stops

BEST_KNOWN: dict[str, float] = {
    "easy_02": 35,
    "easy_03": 26,
    "medium_01": 19,
    "inst_set1a_sf0.5_nc1.5_n20_m10_00": 61,
    "inst_set2c_sf0_nc2.1_n20_l3_m4_00": 25,
    "psp_j10_33": 70,
    "psp_j20_34": 95,
    "psp_j20_35": 103,
    "psp_j30_33": 114,
    "R101.100_25-5-5-5": 3134.863,
}
ROW = "{:<36} {:>5} | {:>7} {:>7} {:>7} | {:>7} {:>7} {:>7}"


@dataclass(frozen=True, slots=True)
class Result:
    """What a solver came to."""

    value: float
    bound: float
    time_s: float

    @property
    def words(self) -> tuple[str, str, str]:
        return f"{self.value:.6g}", f"{self.bound:.6g}", f"{self.time_s:.1f}"


def main(arguments: list[str]) -> int:
    parser = ArgumentParser(prog="python -m tests.schedules.dayplan.public_table")
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args(arguments)
    compiled_code.choose_folder()
    heads = ("best", "ours", "bound", "s", "direct", "bound", "s")
    print(ROW.format("instance", *heads), flush=True)
    is_met = True
    for name in asked.names or BEST_KNOWN:
        if ".100_" in name:
            mine = technicians(name, asked.seconds, asked.workers)
            print(ROW.format(name, BEST_KNOWN[name], *mine.words, "-", "-", "-"), flush=True)
            is_met &= mine.value <= BEST_KNOWN[name]
            continue
        project = _project(name)
        mine = ours(project, asked.seconds, asked.workers)
        theirs = direct(project, asked.seconds, asked.workers)
        print(ROW.format(name, BEST_KNOWN[name], *mine.words, *theirs.words), flush=True)
        is_met &= mine.value <= theirs.value
    return 0 if is_met else 1


def _project(name: str) -> SkillProject | LagProject:
    return lag_project(name) if name.startswith("psp") else skill_project(name)


def ours(project: SkillProject | LagProject, seconds: float, workers: int) -> Result:
    """Solve a project as a day."""
    problem = lag_day(project) if isinstance(project, LagProject) else skill_day(project)
    solution, time_s = _solved(problem, seconds, workers)
    return Result(solution.score.total_cost, solution.bound_cost, time_s)


def technicians(name: str, seconds: float, workers: int) -> Result:
    """Solve a technicians' day; the value is infinite if a tour breaks a published rule."""
    day = technician_day(name)
    solution, time_s = _solved(technician_problem(day), seconds, workers)
    routes = technician_stops(solution, len(day.technicians))
    on_duty = [time_on_duty(day, technician, stops) for technician, stops in routes.items()]
    n_done = sum(stop is not None for stops in routes.values() for stop in stops)
    is_whole = n_done == len(day.requests) and None not in on_duty
    value = sum(time or 0 for time in on_duty) if is_whole else math.inf
    return Result(value, solution.bound_cost, time_s)


def _solved(problem: Problem, seconds: float, workers: int) -> tuple[Solution, float]:
    from schedules.dayplan.calc.check import check  # after the folder of compiled loops is chosen
    from schedules.dayplan.calc.model import solve_day
    from schedules.dayplan.calc.search.first import use_once

    use_once()
    begun = perf_counter()
    solution = solve_day(problem, seconds=seconds, workers=workers)
    time_s = perf_counter() - begun
    verdict = check(problem, solution)
    assert verdict.is_feasible, verdict.broken[:3]
    return solution, time_s


def direct(project: SkillProject | LagProject, seconds: float, workers: int) -> Result:
    """Solve a project by a CP-SAT model written for it."""
    begun, model = perf_counter(), cp_model.CpModel()
    latest = sum(project.durations)
    if isinstance(project, LagProject):
        latest += sum(max(0, lag) for _, lag, _ in project.lags)
    starts = [model.new_int_var(0, latest, "") for _ in project.durations]
    end = model.new_int_var(0, latest, "")
    pairs = list(zip(starts, project.durations, strict=True))
    spans = [model.new_fixed_size_interval_var(start, length, "") for start, length in pairs]
    for start, length in pairs:
        model.add(start + length <= end)
    if isinstance(project, LagProject):
        _lags(model, project, starts, spans)
    else:
        _skills(model, project, starts, spans)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, workers
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return Result(solver.objective_value, solver.best_objective_bound, perf_counter() - begun)


def _lags(
    model: cp_model.CpModel,
    project: LagProject,
    starts: list[cp_model.IntVar],
    spans: list[cp_model.IntervalVar],
) -> None:
    for one, lag, other in project.lags:
        model.add(starts[one] + lag <= starts[other])
    for k, capacity in enumerate(project.capacities):
        model.add_cumulative(spans, [uses[k] for uses in project.uses], capacity)


def _skills(
    model: cp_model.CpModel,
    project: SkillProject,
    starts: list[cp_model.IntVar],
    spans: list[cp_model.IntervalVar],
) -> None:
    for before, after in project.precedences:
        model.add(starts[before] + project.durations[before] <= starts[after])
    of_person: list[list[cp_model.IntervalVar]] = [[] for _ in project.masters]
    for task, (start, length) in enumerate(zip(starts, project.durations, strict=True)):
        takes = {
            (person, skill): model.new_bool_var("")
            for person, masters in enumerate(project.masters)
            for skill in masters
            if length and project.needs[task][skill]
        }
        for skill, n in enumerate(project.needs[task] if length else ()):
            model.add(sum(lit for (_, k), lit in takes.items() if k == skill) == n)
        for person in {person for person, _ in takes}:
            is_there = model.new_bool_var("")
            model.add(sum(lit for (p, _), lit in takes.items() if p == person) == is_there)
            same = model.new_optional_fixed_size_interval_var(start, length, is_there, "")
            of_person[person].append(same)
    for several in of_person:
        model.add_no_overlap(several)
    for skill in range(len(project.needs[0])):
        demands = [needs[skill] for needs in project.needs]
        n_able = sum(skill in masters for masters in project.masters)
        model.add_cumulative(spans, demands, n_able)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
