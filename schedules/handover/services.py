"""Handing over to the next shift, taking it over, and walking round."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext as _

from crews.people.models import Crew
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event
from equipment.site.queries import current_language
from equipment.site.writes import site_write
from schedules.errors import HandoverError
from schedules.work.progress import report_problem

from .models import MAX_LINES, MAX_NOTE, MAX_TEXT, Handover, SafetyItem, WalkAnswer, WalkLine


def hand_over(
    *,
    site_id: int,
    crew_id: int,
    left: Sequence[str] = (),
    broken: Sequence[str] = (),
    watch: Sequence[str] = (),
    first: Sequence[str] = (),
    safety: Sequence[str] = (),
    closed: Sequence[int] = (),
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> Handover:
    """Write down what a crew leaves to the next. `safety` are new items, `closed` old ones' keys.

    What could hurt someone is carried on until it is closed, whether it is said again or not;
    closing one that is closed changes nothing.
    """
    with site_write(site_id, at) as write:
        crew = Crew.objects.filter(site_id=site_id, id=crew_id).first()
        if crew is None:
            raise NotFoundError(_("There is no such crew here."))
        handover = Handover.objects.create(
            site_id=site_id,
            crew=crew,
            by=by,
            made_at=at,
            left=_clean(left),
            broken=_clean(broken),
            watch=_clean(watch),
            first=_clean(first),
            event=event,
        )
        for item_id in closed:
            close_safety_item(site_id=site_id, item_id=item_id, by=by, at=at)
        for text in _clean(safety):
            SafetyItem.objects.get_or_create(
                site_id=site_id,
                crew=crew,
                text=text,
                closed_at=None,
                defaults={"raised_by": by, "raised_at": at},
            )
        write.touch()
    return handover


def _clean(lines: Sequence[str]) -> list[str]:
    """Give the lines that say something, each once."""
    said = list(dict.fromkeys(line.strip() for line in lines if line.strip()))
    if len(said) > MAX_LINES or any(len(line) > MAX_TEXT for line in said):
        words = {"lines": MAX_LINES, "signs": MAX_TEXT}
        raise HandoverError(
            _("A box takes up to %(lines)d lines of %(signs)d signs: say what matters.") % words
        )
    return said


def close_safety_item(*, site_id: int, item_id: int, by: Actor, at: datetime) -> None:
    """Say in one's own name that it can hurt nobody any more. Twice changes nothing."""
    with site_write(site_id, at) as write:
        items = SafetyItem.objects.filter(site_id=site_id, id=item_id)
        if items.filter(closed_at=None).update(closed_by=by, closed_at=at):
            write.touch()
        elif not items.exists():
            raise NotFoundError(_("There is no such safety item here."))


def take_handover(*, site_id: int, handover_id: int, by: Actor, at: datetime) -> Handover:
    """Say that it was read and is taken on. Whoever was first stands."""
    with site_write(site_id, at) as write:
        rows = Handover.objects.filter(site_id=site_id, id=handover_id)
        if rows.filter(taken_at=None).update(taken_by=by, taken_at=at):
            write.touch()
        handover = rows.select_related("taken_by").first()
        if handover is None:
            raise NotFoundError(_("There is no such handover here."))
    return handover


def walk(
    *,
    site_id: int,
    line_id: int,
    ok: bool,
    text: str = "",
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> WalkAnswer:
    """Write down what was found at a line; what is not well becomes a problem at its place."""
    with site_write(site_id, at) as write:
        line = WalkLine.objects.filter(site_id=site_id, id=line_id).first()
        if line is None:
            raise NotFoundError(_("There is no such line of the walk-round here."))
        problem = None
        if not ok:
            problem = report_problem(
                site_id=site_id,
                place_id=line.stand_id,
                text=_problem_words(line, text),
                by=by,
                at=at,
                event=event,
            )
        answer = WalkAnswer.objects.create(
            site_id=site_id,
            line=line,
            by=by,
            at=at,
            ok=ok,
            text=text,
            problem=problem,
            event=event,
        )
        write.touch()
    return answer


def _problem_words(line: WalkLine, text: str) -> str:
    """Say which good state was missed, in the language of whoever walks."""
    wanted = line.text.get(current_language()) or line.name
    said = _("Not OK: %s") % wanted
    return (f"{said}. {text.strip()}" if text.strip() else said)[:MAX_NOTE]
