"""`python -m tests.crews.roster.public_table [NAME ...]`: our values against the best known.

Long: 60 s for each published instance that we carry, 30 s and 300 s for weeks of the farm's kind.
"""

import sys
import time
from collections.abc import Callable

from config import compiled_code
from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Problem
from crews.roster.calc.search import solve_week
from tests.benchmarks.week_generator import farm_weeks

from .public_instances import BEST_KNOWN, shift_scheduling_instance

WORKERS = 2
CASES: dict[str, tuple[Callable[[], Problem], float, float | None]] = {
    **{
        f"instance{n}": (lambda n=n: shift_scheduling_instance(n), 60.0, best)  # type: ignore[misc]  # n is bound
        for n, best in BEST_KNOWN.items()
    },
    "farm64x1": (lambda: farm_weeks(n_people=64, n_weeks=1), 30.0, None),
    "farm200x4": (lambda: farm_weeks(n_people=200, n_weeks=4), 300.0, None),
}


def main(names: list[str]) -> None:
    print("instance      limit_s  time_s       ours  best_known      bound  gap_pct  feasible")
    for name in names or list(CASES):
        make, seconds, best = CASES[name]
        problem = make()
        begun_s = time.monotonic()
        solution = solve_week(problem, seconds=seconds, workers=WORKERS)
        took_s = time.monotonic() - begun_s
        ours = solution.score.total_cost if solution.score is not None else float("nan")
        gap_frac = solution.gap_frac if solution.gap_frac is not None else float("nan")
        bound = solution.bound_cost if solution.bound_cost is not None else float("nan")
        is_feasible = check_week(problem, solution).is_feasible
        known = f"{best:11.0f}" if best is not None else " " * 10 + "-"
        print(
            f"{name:13} {seconds:7.0f} {took_s:7.1f} {ours:10.2f} {known} {bound:10.2f}"
            f" {100 * gap_frac:8.2f}  {is_feasible}",
            flush=True,
        )


if __name__ == "__main__":
    compiled_code.choose_folder()
    main(sys.argv[1:])
