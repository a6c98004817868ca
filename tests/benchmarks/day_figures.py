"""`python -m tests.benchmarks.day_figures`: the day's search against the frozen reference.

One run at a time; each line is printed when it is known. The reference's runs are kept in a file
under the system's temporary folder, named by the hashes of the reference and of the generator, and
are not repeated.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from time import perf_counter

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.score import score_plan
from tests.benchmarks.day_generator import farm_day
from tests.benchmarks.reference_day import plan

FOLDER = Path(__file__).parent
SIZES, DAY_SEED = (100, 300, 1000), 1
SECONDS, REFERENCE_SECONDS, BOUND_SECONDS = 30.0, 60.0, 60.0
FIRST_S = {300: 1.0, 1000: 3.0}  # at most, for the first valid plan
COST_RATIO = {100: 1.00, 300: 0.70, 1000: 0.75}  # at most, ours over the reference's
SEED_SPREAD = 0.10  # at most, of the worst seed over the median
GAP = {100: 0.15, 300: 0.30}  # at most, (cost - bound) / cost
ROW = "{:<52} {:>12} {:>12}  {}"


@dataclass(frozen=True, slots=True)
class Run:
    """One run: its trajectory as (seconds gone, cost), and what its plan comes to."""

    trajectory: list[tuple[float, float]]
    cost: float
    n_left_out: int
    late_min: float
    bound_cost: float = 0

    @property
    def first(self) -> tuple[float, float]:
        return self.trajectory[0]

    def cost_at(self, seconds: float) -> float | None:
        """Cost of the best plan known after so many seconds; none: there was no plan yet."""
        known = [cost for gone, cost in self.trajectory if gone <= seconds]
        return known[-1] if known else None


def main(arguments: list[str]) -> int:
    asked = _asked(arguments)
    digest = _digest("reference_day.py")
    print(f"{os.cpu_count()} cores, {asked.workers} workers; reference {digest}", flush=True)
    print(ROW.format("figure", "is", "at most", ""))
    if not asked.reference_only:
        _ours(farm_day(40), 1, 0.1, asked.workers)  # what is compiled is compiled before
    is_met = [_told(*line) for n_jobs in asked.sizes for line in _figures(n_jobs, asked)]
    return 0 if all(is_met) else 1


def _asked(arguments: list[str]) -> Namespace:
    parser = ArgumentParser(prog="python -m tests.benchmarks.day_figures")
    parser.add_argument("--sizes", type=_sizes, default=SIZES)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--reference-seeds", type=int, default=1)
    parser.add_argument("--reference-only", action="store_true")
    return parser.parse_args(arguments)


def _sizes(words: str) -> tuple[int, ...]:
    return tuple(int(word) for word in words.split(","))


def _told(figure: str, value: float | str, at_most: float | None = None) -> bool:
    is_met = at_most is None or float(value) <= at_most
    shown = value if isinstance(value, str) else f"{value:.3f}"
    bound = "" if at_most is None else f"{at_most:.3f}"
    print(ROW.format(figure, shown, bound, "" if is_met else "MISSED"), flush=True)
    return is_met


Line = tuple[str, float | str] | tuple[str, float | str, float | None]


def _figures(n_jobs: int, asked: Namespace) -> Iterator[Line]:
    problem = farm_day(n_jobs, DAY_SEED)
    theirs = [_reference(n_jobs, problem, seed) for seed in range(1, asked.reference_seeds + 1)]
    reference = sorted(theirs, key=lambda run: run.cost)[(len(theirs) - 1) // 2]
    yield from _of_reference(n_jobs, theirs)
    if asked.reference_only:
        return
    ours = []
    for seed in range(1, asked.seeds + 1):
        ours.append(_ours(problem, seed, SECONDS, asked.workers))
        yield f"{n_jobs}: seed {seed}: cost after {SECONDS:.0f} s", ours[-1].cost
    bare = solve_day(problem, seed=1, workers=asked.workers, iterations=0)
    n_broken = sum(not broken.is_locked for broken in check(problem, bare).broken)
    yield f"{n_jobs}: rules that the first plan breaks", float(n_broken), 0.0
    yield from _of_first(n_jobs, ours, reference)
    yield from _of_cost(n_jobs, ours, reference)
    if n_jobs in GAP:
        run = _ours(problem, 1, BOUND_SECONDS, asked.workers, bounds=True)
        gap = (run.cost - run.bound_cost) / run.cost if run.cost else 0.0
        yield f"{n_jobs}: proved gap after {BOUND_SECONDS:.0f} s", gap, GAP[n_jobs]


def _of_reference(n_jobs: int, theirs: list[Run]) -> Iterator[Line]:
    for seed, run in enumerate(theirs, 1):
        yield f"{n_jobs}: reference, seed {seed}: first plan [s]", run.first[0]
        for seconds in (3, 10, 30, REFERENCE_SECONDS):
            cost = run.cost_at(seconds)
            if cost is not None:
                yield f"{n_jobs}: reference, seed {seed}: cost after {seconds:.0f} s", cost
        words = f"{run.n_left_out} / {run.late_min:.0f}"
        yield f"{n_jobs}: reference, seed {seed}: left out / late min", words


def _of_first(n_jobs: int, ours: list[Run], reference: Run) -> Iterator[Line]:
    """The first plan: when, and its cost over the reference's at ten times as long."""
    first_s = max(run.first[0] for run in ours)
    yield f"{n_jobs}: first valid plan, slowest seed [s]", first_s, FIRST_S.get(n_jobs)
    theirs = reference.cost_at(10 * first_s)
    if theirs is None:  # it has none by then
        yield f"{n_jobs}: first plan's cost over reference's at 10 x", "no plan yet"
    elif n_jobs in FIRST_S:
        ratio = median(run.first[1] for run in ours) / theirs
        yield f"{n_jobs}: first plan's cost over reference's at 10 x", ratio, 1.0


def _of_cost(n_jobs: int, ours: list[Run], reference: Run) -> Iterator[Line]:
    middle = median(run.cost for run in ours)
    most = COST_RATIO.get(n_jobs)
    yield f"{n_jobs}: cost over reference's, median seed", middle / reference.cost, most
    worst = max(run.cost for run in ours) / middle - 1
    yield f"{n_jobs}: worst seed over median", worst, SEED_SPREAD
    n_left_out = max(run.n_left_out for run in ours)
    yield f"{n_jobs}: left out, most", float(n_left_out), float(reference.n_left_out)
    late_min = median(run.late_min for run in ours)
    yield f"{n_jobs}: late, median [min]", late_min, reference.late_min


def _ours(
    problem: Problem, seed: int, seconds: float, workers: int, *, bounds: bool = False
) -> Run:
    trajectory: list[tuple[float, float]] = []
    begun = perf_counter()

    def note(progress: Progress) -> None:
        if not trajectory or progress.cost < trajectory[-1][1]:
            trajectory.append((perf_counter() - begun, progress.cost))

    solution = solve_day(
        problem, seconds=seconds, seed=seed, workers=workers, on_progress=note, bounds=bounds
    )
    verdict = check(problem, solution)
    assert verdict.is_feasible, verdict.broken[:3]
    score = solution.score
    n_left_out = len(solution.left_out)
    return Run(trajectory, score.total_cost, n_left_out, score.late_min, solution.bound_cost)


def _reference(n_jobs: int, problem: Problem, seed: int) -> Run:
    """Run the reference, or read what it came to before."""
    names = ("reference_day.py", "day_generator.py")
    key = "-".join(_digest(name) for name in names)
    kept = Path(tempfile.gettempdir()) / f"penround-day-figures-{key}.json"
    runs = json.loads(kept.read_text()) if kept.exists() else {}
    name = f"{n_jobs} {seed}"
    if name not in runs:
        trajectory: list[tuple[float, float]] = []
        given = plan(problem, REFERENCE_SECONDS, seed, lambda *at: trajectory.append(at))
        score = score_plan(problem, given)
        n_left_out = len(problem.jobs) - len(given)
        run = Run(trajectory, score.total_cost, n_left_out, score.late_min)
        runs[name] = asdict(run)
        kept.write_text(json.dumps(runs))
    return Run(**runs[name])


def _digest(name: str) -> str:
    return hashlib.sha256((FOLDER / name).read_bytes()).hexdigest()[:12]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
