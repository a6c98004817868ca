"""`manage.py solve_week`: the cheapest roster found for a problem, in a file."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from threading import Event
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from crews.management.week_files import read_problem
from crews.roster.calc.explain import explain_clash
from crews.roster.calc.json_io import solution_to_json
from crews.roster.calc.limits import Limit
from crews.roster.calc.problem import Problem
from crews.roster.calc.search import Progress, solve_week
from crews.roster.calc.solution import Solution, Status

EXIT_INFEASIBLE = 2
EXIT_NO_ANSWER = 3


class Command(BaseCommand):
    help = _(
        "Solve a roster problem, a JSON file (week-problem.schema.json). Ctrl-C keeps the best."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, help=_("file to read"))
        parser.add_argument("--out", type=Path, required=True, help=_("solution file to write"))
        parser.add_argument("--seconds", type=float, default=60.0, help=_("limit by the clock"))
        parser.add_argument("--workers", type=int, default=1, help=_("threads"))
        parser.add_argument("--seed", type=int, default=0)
        parser.add_argument("--iterations", type=int, help=_("limit by work: the same each time"))

    def handle(self, *args: Any, **options: Any) -> None:
        if options["seconds"] <= 0 or options["workers"] < 1:
            raise CommandError(_("--seconds must be above 0 and --workers 1 or more."))
        problem = read_problem(options["problem"])
        with _stopped_by_interrupt() as stop, ThreadPoolExecutor(1) as pool:
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
        try:
            options["out"].write_text(solution_to_json(solution) + "\n")
        except OSError as error:
            told = {"path": options["out"], "why": error.strerror}
            raise CommandError(_("Cannot write %(path)s: %(why)s.") % told) from error
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


@contextmanager
def _stopped_by_interrupt() -> Iterator[Event]:
    stop = Event()

    def note(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    before = signal.signal(signal.SIGINT, note)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
