"""`manage.py check_day`: judge a day's plan from files: broken rules, and its score again."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from equipment.site.planfiles import broken_line, read_record, score_lines
from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.json_io import problem_from_json, solution_from_json


class Command(BaseCommand):
    help = _("Judge a day's plan: every broken rule, and its score computed again.")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, help=_("problem as JSON"))
        parser.add_argument("solution", type=Path, help=_("plan as JSON"))

    def handle(self, *args: Any, **options: Any) -> None:
        problem = read_record(options["problem"], problem_from_json)
        solution = read_record(options["solution"], solution_from_json)
        verdict = check(problem, solution)
        for broken in verdict.broken:
            self.stdout.write(broken_line(broken))
        if verdict.score is not None:
            self.stdout.write("\n".join(score_lines(asdict(solution.score), asdict(verdict.score))))
            is_told = all(broken.code != "score_misstated" for broken in verdict.broken)
            self.stdout.write(_("The score is as told.") if is_told else _("The score differs."))
        if not verdict.is_feasible:
            n_broken = sum(not broken.is_locked for broken in verdict.broken)
            raise CommandError(_("Not feasible, %d times over.") % n_broken)
        self.stdout.write(_("feasible"))
