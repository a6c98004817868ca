"""`manage.py check_week`: every rule that a roster breaks, and its score computed again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from crews.management.week_files import read_problem, read_solution
from crews.roster.calc.check import Broken, check_week

EXIT_BROKEN = 2


class Command(BaseCommand):
    help = _("Judge a roster: feasible or not, each broken rule, the score by cause.")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, help=_("problem file"))
        parser.add_argument("solution", type=Path, help=_("solution file"))

    def handle(self, *args: Any, **options: Any) -> None:
        problem = read_problem(options["problem"])
        verdict = check_week(problem, read_solution(options["solution"]))
        for broken in verdict.broken:
            self.stdout.write(_line(broken))
        if verdict.score is not None:
            for cause, cost in verdict.score.by_cause.items():
                self.stdout.write(f"{cause}  {cost:.2f}")
            self.stdout.write(f"total  {verdict.score.total_cost:.2f}")
        if not verdict.is_feasible:
            told = _("Not feasible: %d broken.") % len(verdict.broken)
            raise CommandError(told, returncode=EXIT_BROKEN)
        self.stdout.write(_("Feasible."))


def _line(broken: Broken) -> str:
    on = broken.on.isoformat() if broken.on is not None else None
    parts = (broken.code, broken.person, on, broken.kind)
    return "  ".join([*(part for part in parts if part), json.dumps(broken.facts)])
