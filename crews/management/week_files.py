"""Reading a roster problem or solution from a file, with an error that says what to do."""

from pathlib import Path

from django.core.management.base import CommandError
from django.utils.translation import gettext as _

from crews.roster.calc.json_io import problem_from_json, solution_from_json
from crews.roster.calc.problem import Problem, ProblemError
from crews.roster.calc.solution import Solution


def read_problem(path: Path) -> Problem:
    try:
        return problem_from_json(_text_of(path))
    except ProblemError as error:
        raise _refusal(path, error, "week-problem.schema.json") from error


def read_solution(path: Path) -> Solution:
    try:
        return solution_from_json(_text_of(path))
    except ProblemError as error:
        raise _refusal(path, error, "week-solution.schema.json") from error


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise CommandError(_("%s is not UTF-8 text.") % path) from error
    except OSError as error:
        told = {"path": path, "why": error.strerror}
        raise CommandError(_("Cannot read %(path)s: %(why)s.") % told) from error


def _refusal(path: Path, error: ProblemError, schema: str) -> CommandError:
    told = {"path": path, "record": error.record, "rule": error.rule, "schema": schema}
    return CommandError(
        _("%(path)s: %(record)s %(rule)s. See crews/roster/%(schema)s for the form.") % told
    )
