"""`manage.py solve_week`: the cheapest roster found for a problem, in a file."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from crews.roster.calc.explain import explain_clash
from crews.roster.calc.json_io import problem_from_json, solution_to_json
from crews.roster.calc.limits import Limit
from crews.roster.calc.problem import Problem
from crews.roster.calc.search import Progress, solve_week
from crews.roster.calc.solution import Solution, Status
from equipment.site.planfiles import (
    add_search_arguments,
    first_interrupt,
    read_record,
    require_search_arguments,
    write_record,
)

EXIT_INFEASIBLE = 2
EXIT_NO_ANSWER = 3


class Command(BaseCommand):
    help = _("Make a week's roster from a file; Ctrl-C stops the search and keeps the best.")

    def add_arguments(self, parser: CommandParser) -> None:
        add_search_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        require_search_arguments(options)
        problem = read_record(options["problem"], problem_from_json)
        with first_interrupt() as stop, ThreadPoolExecutor(1) as pool:
            # In a thread of its own: the main one must be free to hear Ctrl-C.
            solution = pool.submit(
                solve_week,
                problem,
                seconds=None if options["iterations"] is not None else options["seconds"],
                workers=options["workers"],
                seed=options["seed"],
                iterations=options["iterations"],
                on_progress=self._tell,
                stop=stop,
            ).result()
        write_record(options["out"], solution_to_json(solution))
        self._close(problem, solution)

    def _tell(self, told: Progress) -> None:
        line = f"{told.elapsed_s:8.1f} s  {told.cost:12.2f}  {told.bound_cost:12.2f}"
        self.stdout.write(f"{line}  {100 * told.gap_frac:6.2f} %")

    def _close(self, problem: Problem, solution: Solution) -> None:
        if solution.status is Status.INFEASIBLE:
            for limit in explain_clash(problem, n_remedies=0).limits:
                self.stdout.write(_fact(limit))
            told = _("No roster keeps all of these facts.")
            raise CommandError(told, returncode=EXIT_INFEASIBLE)
        if solution.score is None:
            raise CommandError(_("No roster found in this time."), returncode=EXIT_NO_ANSWER)
        gap_pct = 100 * (solution.gap_frac or 0.0)
        line = f"{solution.status}  {solution.score.total_cost:.2f}  {solution.bound_cost:.2f}"
        self.stdout.write(f"{line}  {gap_pct:.2f} %")


def _fact(limit: Limit) -> str:
    parts = (limit.code, limit.person, limit.rule, limit.kind, limit.skill)
    on = limit.on.isoformat() if limit.on.year > 1 else ""
    return "  ".join(part for part in (*parts, on) if part)
