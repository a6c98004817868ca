"""Trying what upsets a day, and telling it in earnest: reads what was asked, calls one verb."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from equipment.site.errors import DomainError, InvalidInputError
from schedules.dayplan.disturbances import (
    Disturbance,
    MachineOut,
    PenClosed,
    PersonAway,
    VisitLate,
    expected,
    next_moment,
    try_disturbance,
)
from schedules.rounds.services import foretell_visit
from schedules.rounds.services.reports import MOMENT_NAMES

from .base import Desk, desk_view, done, page_context
from .forms import read_key, read_whole, read_words
from .replan import Choices, choices_of, replan_context, trial_context

MOST_LATE_MIN = 600  # what comes later belongs to another milking


@dataclass(frozen=True, slots=True)
class Asked:
    """What is tried, in words, with what the form that tells it in earnest sends."""

    what: str
    words: str
    deed: Disturbance
    sent: dict[str, str]
    button: str
    reason: str = ""  # offered where the verb wants one


@desk_view
def replan(desk: Desk) -> HttpResponse:
    """Offer what can be tried; with `what` in the address, try it."""
    desk.require_lead()
    choices = choices_of(desk)
    context = page_context(desk, "replan") | replan_context(desk, choices)
    status = 200
    if "what" in desk.request.GET:
        try:
            context |= _tried(desk, choices)
        except DomainError as error:
            context["faults"], status = [error.detail], error.status
    return render(desk.request, "desk/replan.html", context, status=status)


def _tried(desk: Desk, choices: Choices) -> dict[str, object]:
    given = desk.request.GET
    asked = _reader(given)(desk, given, choices)
    trial = try_disturbance(asked.deed, site_id=desk.site_id, by=desk.caller.actor, at=desk.now)
    return {"asked": asked, "is_still": True, **trial_context(desk, trial)}


def _reader(given: QueryDict) -> Callable[[Desk, QueryDict, Choices], Asked]:
    read = READERS.get(given.get("what", ""))
    if read is None:
        raise InvalidInputError(_("There is no such trial. Choose one of the forms on this page."))
    return read


def _visit(desk: Desk, given: QueryDict, choices: Choices) -> Asked:
    key = read_key(given, "visit", _("Visit"))
    minutes = read_whole(given, "minutes", _("Minutes late"), least=1, most=MOST_LATE_MIN)
    visit = next((v for v in choices.visits if v.pk == key), None)
    moment = next_moment(visit) if visit else None
    if visit is None or moment is None:
        raise InvalidInputError(_("That visit is over, or not of today. Choose one of the list."))
    was = expected(visit, moment)
    late = VisitLate(visit.pk, moment, was, max(was, desk.now) + timedelta(minutes=minutes))
    words = _("%(pen)s, milking %(slot)s: “%(moment)s” at %(at)s instead of %(was)s.") % {
        "pen": desk.place(visit.pen.place),
        "slot": visit.milking.slot,
        "moment": MOMENT_NAMES[moment],
        "at": desk.moment(late.at),
        "was": desk.moment(was),
    }
    sent = {
        "visit": str(visit.pk),
        "moment": moment,
        "expected_at": was.isoformat(),
        "at": late.at.isoformat(),
    }
    return Asked("visit", words, late, sent, _("Expect it so late"))


def _machine(_desk: Desk, given: QueryDict, choices: Choices) -> Asked:
    key = read_key(given, "machine", _("Machine"))
    machine = next((m for m in choices.machines if m.pk == key), None)
    if machine is None:
        raise InvalidInputError(_("That one is not in use. Choose one of the list."))
    reason = _("Broken down")
    words = _("%s is out of use until further notice.") % machine.name
    deed, sent = MachineOut(key, reason), {"machine": str(key)}
    return Asked("machine", words, deed, sent, _("Take out of use"), reason)


def _person(desk: Desk, given: QueryDict, choices: Choices) -> Asked:
    key = read_key(given, "person", _("Person"))
    shift = next((s for s in choices.shifts if s.worker_id == key), None)
    if shift is None:
        raise InvalidInputError(_("Nobody counts on that person today. Choose one of the list."))
    words = _("%(person)s is sick for the shift %(hours)s.") % {
        "person": shift.worker.name,
        "hours": desk.span(shift.starts_at, shift.ends_at),
    }
    sent = {"person": str(key), "shift": str(shift.pk)}
    return Asked("person", words, PersonAway(key, shift.pk), sent, _("Mark as sick"))


def _pen(desk: Desk, given: QueryDict, choices: Choices) -> Asked:
    key = read_key(given, "pen", desk.noun("pen"))
    place = next((p for p in choices.pens if p.pk == key), None)
    if place is None:
        raise InvalidInputError(_("That place is closed already, or not here. Choose another."))
    reason = _("Closed")
    words = _("%s: no work until somebody opens it again.") % desk.place(place)
    deed, sent = PenClosed(key, reason), {"pen": str(key)}
    return Asked("pen", words, deed, sent, _("Close it"), reason)


READERS: dict[str, Callable[[Desk, QueryDict, Choices], Asked]] = {
    "visit": _visit,
    "machine": _machine,
    "person": _person,
    "pen": _pen,
}


# In earnest -------------------------------------------------------------------------------------


@desk_view
def make_so(desk: Desk) -> HttpResponse:
    """Tell what was tried, by the verb that the other pages use; the plan follows by itself."""
    desk.require_lead()
    _told(desk, desk.request.POST).do(site_id=desk.site_id, by=desk.caller.actor, at=desk.now)
    return done(desk, _("It is told. The plan changes within seconds."), "plan")


@desk_view
def take_back(desk: Desk, pk: int) -> HttpResponse:
    """Take back what was foretold of a visit."""
    desk.require_lead()
    foretell_visit(
        site_id=desk.site_id,
        visit_id=pk,
        moment=None,
        expected_at=None,
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("It is taken back. The plan changes within seconds."), "replan")


def _told(desk: Desk, posted: QueryDict) -> Disturbance:
    what = posted.get("what", "")
    if what == "visit":
        return VisitLate(
            visit_id=read_key(posted, "visit", _("Visit")),
            moment=read_words(posted, "moment", _("Moment"), is_needed=True),
            expected_at=_read_instant(posted, "expected_at"),
            at=_read_instant(posted, "at"),
        )
    if what == "machine":
        return MachineOut(read_key(posted, "machine", _("Machine")), _read_reason(posted))
    if what == "person":
        return PersonAway(
            worker_id=read_key(posted, "person", _("Person")),
            shift_id=read_key(posted, "shift", _("Shift")),
        )
    if what == "pen":
        return PenClosed(read_key(posted, "pen", desk.noun("pen")), _read_reason(posted))
    raise InvalidInputError(_("There is no such trial. Choose one of the forms on this page."))


def _read_reason(posted: QueryDict) -> str:
    return read_words(posted, "reason", _("Why"), is_needed=True)


def _read_instant(posted: QueryDict, name: str) -> datetime:
    """Read an instant as the page wrote it."""
    try:
        at = datetime.fromisoformat(posted.get(name, ""))
    except ValueError as error:
        raise InvalidInputError(_("Open the page Replan again and try it there.")) from error
    if at.tzinfo is None:
        raise InvalidInputError(_("Open the page Replan again and try it there."))
    return at


urlpatterns: list[URLPattern] = [
    path("farm/<slug:slug>/replan/", replan, name="replan"),
    path("farm/<slug:slug>/replan/tell/", require_POST(make_so), name="make-so"),
    path("farm/<slug:slug>/replan/visit/<int:pk>/back/", require_POST(take_back), name="take-back"),
]
