"""`manage.py check_week`: every rule that a roster breaks, and its score computed again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from crews.roster.calc.check import check_week
from crews.roster.calc.json_io import problem_from_json, solution_from_json
from crews.roster.calc.solution import Score
from equipment.site.planfiles import broken_line, read_record, score_lines

EXIT_BROKEN = 2


class Command(BaseCommand):
    help = _("Judge a roster: feasible or not, each broken rule, the score by cause.")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, help=_("problem as JSON"))
        parser.add_argument("solution", type=Path, help=_("plan as JSON"))

    def handle(self, *args: Any, **options: Any) -> None:
        problem = read_record(options["problem"], problem_from_json)
        solution = read_record(options["solution"], solution_from_json)
        verdict = check_week(problem, solution)
        for broken in verdict.broken:
            self.stdout.write(broken_line(broken))
        if verdict.score is not None and solution.score is not None:
            lines = score_lines(_causes(solution.score), _causes(verdict.score))
            self.stdout.write("\n".join(lines))
        if not verdict.is_feasible:
            told = _("Not feasible: %d broken.") % len(verdict.broken)
            raise CommandError(told, returncode=EXIT_BROKEN)
        self.stdout.write(_("Feasible."))


def _causes(score: Score) -> dict[str, float]:
    return {**score.by_cause, "total_cost": score.total_cost}
