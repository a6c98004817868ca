"""`manage.py solve_day`: plan a day's jobs from a file, without a site."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils.translation import gettext as _

from equipment.site.planfiles import (
    add_search_arguments,
    first_interrupt,
    read_record,
    require_search_arguments,
    write_record,
)
from schedules.dayplan.calc.json_io import problem_from_json, solution_to_json
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.solution import Solution


class Command(BaseCommand):
    help = _("Plan a day's jobs from a file; Ctrl-C stops the search and keeps the best plan.")

    def add_arguments(self, parser: CommandParser) -> None:
        add_search_arguments(parser)
        parser.add_argument(
            "--bound", action="store_true", help=_("spend up to half of the time on a bound")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        require_search_arguments(options)
        problem = read_record(options["problem"], problem_from_json)
        with first_interrupt() as stop:

            def on_progress(progress: Progress) -> bool:
                self.stderr.write(_progress_line(progress), style_func=str)
                return stop.is_set()

            solution = solve_day(
                problem,
                seconds=options["seconds"],
                seed=options["seed"],
                workers=options["workers"],
                iterations=options["iterations"],
                on_progress=on_progress,
                bounds=options["bound"],
            )
        write_record(options["out"], solution_to_json(solution))
        self.stdout.write(_solution_line(solution))


def _progress_line(progress: Progress) -> str:
    return _("%(s)7.1f s   cost %(cost).1f   at least %(bound).1f   %(n)d left out") % {
        "s": progress.elapsed_s,
        "cost": progress.cost,
        "bound": progress.bound_cost,
        "n": progress.n_left_out,
    }


def _solution_line(solution: Solution) -> str:
    words = _("%(status)s: cost %(cost).3f, at least %(bound).3f; %(given)d jobs given, %(n)d left")
    return words % {
        "status": solution.status.value,
        "cost": solution.score.total_cost,
        "bound": solution.bound_cost,
        "given": len(solution.assignments),
        "n": len(solution.left_out),
    }
