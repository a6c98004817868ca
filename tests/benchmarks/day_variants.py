"""`python -m tests.benchmarks.day_variants PROBLEM`: a day from a file, and worse days made of it.

For the day as it is, wet, short-handed and with its most used loader held: when the first plan is
there, cost and bound of runs of several lengths, whether the judge finds a broken rule, and by
which codes the jobs are left out. How much worse a day gets is common practice, no source.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

from config import compiled_code

compiled_code.choose_folder()  # before the loops are imported

from schedules.dayplan.calc.check import check  # noqa: E402
from schedules.dayplan.calc.json_io import problem_from_json  # noqa: E402
from schedules.dayplan.calc.model import Progress, solve_day  # noqa: E402
from schedules.dayplan.calc.problem import Job, Problem  # noqa: E402
from schedules.dayplan.calc.resources import Block  # noqa: E402
from schedules.dayplan.calc.solution import Solution  # noqa: E402
from tests.benchmarks.day_generator import farm_day  # noqa: E402

WET_PLACES = ("bay-", "lane-")  # what a wet day closes, by the beginning of the key
WET_LONGER = 1.2
AWAY_SHARE = 0.25
ROW = "{:<13} {:>4} {:>7} {:>11} {:>11} {:>7} {:>5} {:>6} {:>6} {:>7} {:>6}  {}"

HEADS = (
    *("day", "s", "first s", "cost", "bound", "gap", "out", "late", "broken"),
    *("ruins", "cpu s", "left out by code"),
)


def as_it_is(problem: Problem) -> Problem:
    return problem


def wet(problem: Problem) -> Problem:
    """Close bays and lanes all day; work takes longer, but where milking or flush sets its time."""
    day = problem.horizon
    closed = [p.key for p in problem.places if p.is_exclusive and p.key.startswith(WET_PLACES)]
    blocks = tuple(Block(key, day.start, day.end, "wet") for key in closed)
    jobs = tuple(_longer(job) for job in problem.jobs)
    return replace(problem, jobs=jobs, blocks=(*problem.blocks, *blocks))


def _longer(job: Job) -> Job:
    longest_min = max((w.end - w.start).total_seconds() / 60 for w in job.windows)
    longer_min = WET_LONGER * job.duration_min
    return replace(job, duration_min=longer_min) if longer_min <= longest_min else job


def short_handed(problem: Problem) -> Problem:
    """Take a share of the people away, whoever they are."""
    n_away = round(AWAY_SHARE * len(problem.people))
    away = set(np.random.default_rng(1).permutation(len(problem.people))[:n_away].tolist())
    there = (person for i, person in enumerate(problem.people) if i not in away)
    return replace(problem, people=tuple(there))


def loader_held(problem: Problem) -> Problem:
    """Hold, all day, the loader that the first plan of the day uses most."""
    loaders = {machine.id for machine in problem.machines if machine.kind.endswith("loader")}
    used_s: Counter[str] = Counter()
    for given in solve_day(problem, seed=1, iterations=0).assignments:
        if given.machine in loaders:
            used_s[given.machine] += round((given.end - given.start).total_seconds())
    [(held, _)] = used_s.most_common(1)
    machines = (
        replace(machine, holds=(problem.horizon,)) if machine.id == held else machine
        for machine in problem.machines
    )
    return replace(problem, machines=tuple(machines))


VARIANTS: tuple[Callable[[Problem], Problem], ...] = (as_it_is, wet, short_handed, loader_held)


def main(arguments: list[str]) -> int:
    parser = ArgumentParser(prog="python -m tests.benchmarks.day_variants")
    parser.add_argument("problem", type=Path)
    parser.add_argument("--seconds", type=float, nargs="+", default=(5.0, 30.0, 60.0))
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    problem = problem_from_json(asked.problem.read_text("utf-8"))
    solve_day(farm_day(40), seconds=0.1)  # what is compiled is compiled before
    print(ROW.format(*HEADS))
    is_sound = True
    for variant in VARIANTS:
        day = variant(problem)
        for seconds in asked.seconds:
            cells, is_good = _run(day, seconds, asked.seed, asked.workers)
            is_sound &= is_good
            name = variant.__name__.replace("_", " ")
            print(ROW.format(name, f"{seconds:.0f}", *cells), flush=True)
    return 0 if is_sound else 1


def _run(problem: Problem, seconds: float, seed: int, workers: int) -> tuple[list[str], bool]:
    """Plan once: the row's cells, and whether no rule is broken and no job without a reason."""
    told_s: list[float] = []
    began, began_cpu = perf_counter(), process_time()

    def note(_: Progress) -> None:
        told_s.append(perf_counter() - began)

    plan = solve_day(problem, seconds=seconds, seed=seed, workers=workers, on_progress=note)
    cpu_s = process_time() - began_cpu  # how much of a busy machine the run had
    n_broken = sum(not broken.is_locked for broken in check(problem, plan).broken)
    reasons = Counter(_first_codes(plan))
    cost, late_min = plan.score.total_cost, plan.score.late_min
    gap = (cost - plan.bound_cost) / cost if cost else 0.0
    figures = (f"{told_s[0]:.2f}", f"{cost:.1f}", f"{plan.bound_cost:.1f}", f"{gap:.3f}")
    counts = (str(len(plan.left_out)), f"{late_min:.0f}", str(n_broken))
    words = ", ".join(f"{code} {n}" for code, n in reasons.most_common())
    is_good = n_broken == 0 and "no reason" not in reasons
    return [*figures, *counts, str(plan.n_iterations), f"{cpu_s:.1f}", words], is_good


def _first_codes(plan: Solution) -> Iterator[str]:
    for left in plan.left_out:
        yield left.reasons[0].code.value if left.reasons else "no reason"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
