"""`python -m tests.schedules.dayplan.public_table [NAME ...]`: published projects as days.

Each line: the best known makespan, ours, our bound and time, and the same of a direct CP-SAT model
with the same time and cores. Sources: fixtures/published/dayplan/README.md.
"""

import os
import sys
from argparse import ArgumentParser
from dataclasses import dataclass
from time import perf_counter

from ortools.sat.python import cp_model

from config import compiled_code

from .public_instances import LagProject, SkillProject, lag_project, skill_project
from .public_problems import lag_day, skill_day

BEST_KNOWN = {
    "easy_02": 35,
    "easy_03": 26,
    "medium_01": 19,
    "inst_set1a_sf0.5_nc1.5_n20_m10_00": 61,
    "inst_set2c_sf0_nc2.1_n20_l3_m4_00": 25,
    "psp_j10_33": 70,
    "psp_j20_34": 95,
    "psp_j20_35": 103,
    "psp_j30_33": 114,
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
        return f"{self.value:.0f}", f"{self.bound:.0f}", f"{self.time_s:.1f}"


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
    from schedules.dayplan.calc.check import check  # after the folder of compiled loops is chosen
    from schedules.dayplan.calc.model import solve_day
    from schedules.dayplan.calc.search.first import use_once

    problem = lag_day(project) if isinstance(project, LagProject) else skill_day(project)
    use_once()
    begun = perf_counter()
    solution = solve_day(problem, seconds=seconds, workers=workers)
    time_s = perf_counter() - begun
    verdict = check(problem, solution)
    assert verdict.is_feasible, verdict.broken[:3]
    return Result(solution.score.total_cost, solution.bound_cost, time_s)


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
