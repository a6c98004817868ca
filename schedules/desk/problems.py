"""Problems: what was reported and not answered? Oldest first, each answered in one tap."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from crews.people.queries import languages_of
from equipment.attachments.models import Attachment, SubjectKind
from equipment.attachments.queries import attachments_of
from equipment.machines.models import Defect
from equipment.site.models import SHOP
from schedules.work.models import Problem
from schedules.work.queries import open_problems

from .base import Desk

MOST = 50  # that one page shows: the rest follows as these are answered
ANSWERS = (
    gettext_lazy("We put it right today"),
    gettext_lazy("It is in the plan"),
    gettext_lazy("I come and look"),
)


@dataclass(frozen=True, slots=True)
class Reported:
    """One thing somebody reported, in their own words, and how it is answered.

    A problem takes an answer; a machine's defect is put right and stays with its machine.
    """

    key: str
    where: str
    where_url: str
    text: str
    language: str
    who: str
    at: datetime
    when: str
    is_safety: bool
    is_defect: bool
    answer_url: str
    may_answer: bool
    shown: list[Attachment]


def problems_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: 7 queries."""
    problems = list(open_problems(desk.site_id))
    found = Defect.objects.filter(site_id=desk.site_id, closed_at=None)
    defects = list(found.select_related("machine", "reported_by"))
    tellers = {p.reported_by_id for p in problems} | {d.reported_by_id for d in defects}
    speak = languages_of(desk.site_id, tellers)
    lines = _of_places(desk, problems, speak) + _of_machines(desk, defects, speak)
    lines.sort(key=lambda line: (not line.is_safety, line.at, line.key))
    return {
        "finding": _finding(desk, lines),
        "lines": lines[:MOST],
        "n_lines": len(lines),
        "most": MOST,
        "answers": [str(words) for words in ANSWERS],
    }


def _of_places(desk: Desk, problems: list[Problem], speak: dict[int, str]) -> list[Reported]:
    shown = attachments_of(desk.site_id, SubjectKind.PROBLEM, _keys(problems))
    slug = desk.caller.site.slug
    return [
        Reported(
            key=f"problem-{one.pk}",
            where=desk.place(one.place) if one.place else "",
            where_url="",
            answer_url=reverse("answer-problem", args=[slug, one.pk]),
            may_answer=desk.caller.is_lead,
            shown=shown.get(one.pk, []),
            is_defect=False,
            **_said(desk, one, speak),
        )
        for one in problems
    ]


def _of_machines(desk: Desk, defects: list[Defect], speak: dict[int, str]) -> list[Reported]:
    shown = attachments_of(desk.site_id, SubjectKind.DEFECT, _keys(defects))
    slug = desk.caller.site.slug
    machines = reverse("machines", args=[slug])
    return [
        Reported(
            key=f"defect-{one.pk}",
            where=one.machine.name,
            where_url=f"{machines}#machine-{one.machine_id}",
            answer_url=reverse("close-defect", args=[slug, one.pk]),
            may_answer=desk.caller.role in SHOP,
            shown=shown.get(one.pk, []),
            is_defect=True,
            **_said(desk, one, speak),
        )
        for one in defects
    ]


def _keys(rows: Collection[Problem] | Collection[Defect]) -> list[int]:
    return [row.pk for row in rows]


def _said(desk: Desk, one: Problem | Defect, speak: dict[int, str]) -> dict[str, Any]:
    """Give who said what and when; the language of words is that of who wrote them, if known."""
    return {
        "text": one.text,
        "language": speak.get(one.reported_by_id, ""),
        "who": one.reported_by.name,
        "at": one.reported_at,
        "when": f"{desk.moment(one.reported_at)} · {desk.ago(one.reported_at)}",
        "is_safety": one.is_safety,
    }


def _finding(desk: Desk, lines: list[Reported]) -> str:
    if not lines:
        return _("Nothing reported is without an answer.")
    n = len(lines)
    said = [ngettext("%d report has no answer.", "%d reports have no answer.", n) % n]
    n_safety = sum(line.is_safety for line in lines)
    if n_safety:
        said.append(
            ngettext("%d is about safety.", "%d are about safety.", n_safety) % n_safety,
        )
    said.append(_("The oldest waits since %s.") % desk.moment(lines[0].at))
    return " ".join(said)
