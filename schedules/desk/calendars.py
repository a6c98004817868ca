"""Links of calendars: who has one, making it, ending it."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from crews.people.models import Crew, Worker
from equipment.sandyard.models import Pad
from equipment.site.errors import FieldFault, InvalidInputError
from schedules.calendars.contents import subject_of
from schedules.calendars.feed import link_of, title_of
from schedules.calendars.models import Calendar, CalendarKind
from schedules.calendars.services import end_link, make_link

from .base import Desk, desk_view, done, page_context

PAGE_OF = {
    CalendarKind.WORKER: "crew",
    CalendarKind.CREW: "crew",
    CalendarKind.MACHINE: "machines",
    CalendarKind.PAD: "sand",
}
Choices = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Links:
    """Whose calendars a page can link to, and the links that live."""

    choices: Choices
    live: list[tuple[int, str, str]]


def calendar_links(desk: Desk, choices: Choices, *kinds: CalendarKind) -> Links | None:
    """Give what the page of these kinds shows a lead: 1 query."""
    if not desk.caller.is_lead:
        return None
    rows = (
        Calendar.objects.filter(site_id=desk.site_id, kind__in=kinds)
        .exclude(token_hash="")
        .select_related("site", "worker", "crew", "machine", "pad__place")
        .order_by("kind", "id")
    )
    return Links(choices, [(row.pk, _name_of(desk, row), _read(desk, row)) for row in rows])


def _name_of(desk: Desk, row: Calendar) -> str:
    subject = subject_of(row)
    return desk.place(subject) if row.kind == CalendarKind.PAD else str(subject.name)


def _read(desk: Desk, row: Calendar) -> str:
    return desk.ago(row.read_at) if row.read_at else _("not read yet")


def crew_links(desk: Desk) -> Links | None:
    """Give links of crews and people: 3 queries."""
    if not desk.caller.is_lead:
        return None
    here = {"site_id": desk.site_id, "retired_at": None}
    crews = Crew.objects.filter(**here).order_by("name").values_list("pk", "name")
    people = Worker.objects.filter(**here).order_by("name").values_list("pk", "name")
    choices = [*_named(CalendarKind.CREW, crews), *_named(CalendarKind.WORKER, people)]
    return calendar_links(desk, choices, CalendarKind.CREW, CalendarKind.WORKER)


def machine_links(desk: Desk, names: dict[int, str]) -> Links | None:
    """Give links of machines: 1 query."""
    choices = _named(CalendarKind.MACHINE, names.items())
    return calendar_links(desk, choices, CalendarKind.MACHINE)


def pad_links(desk: Desk) -> Links | None:
    """Give links of pads: 2 queries."""
    if not desk.caller.is_lead:
        return None
    pads = Pad.objects.filter(site_id=desk.site_id, place__retired_at=None)
    named = [(p.pk, desk.place(p.place)) for p in pads.select_related("place").order_by("pk")]
    return calendar_links(desk, _named(CalendarKind.PAD, named), CalendarKind.PAD)


def _named(kind: CalendarKind, rows: Iterable[tuple[int, str]]) -> Choices:
    return [(f"{kind}-{pk}", name) for pk, name in rows]


@desk_view
def link(desk: Desk) -> HttpResponse:
    """Show a calendar's new link once: only its hash is kept."""
    desk.require_lead()
    kind, subject_id = _chosen(desk.request.POST.get("subject", ""))
    token = secrets.token_urlsafe(32)
    calendar = make_link(
        site_id=desk.site_id,
        kind=kind,
        subject_id=subject_id,
        token=token,
        by=desk.caller.actor,
        at=desk.now,
    )
    context = page_context(desk, PAGE_OF[kind]) | {
        "name": title_of(calendar),
        "address": link_of(calendar.pk, token),
        "back": PAGE_OF[kind],
    }
    return render(desk.request, "desk/calendar_link.html", context)


def _chosen(text: str) -> tuple[CalendarKind, int]:
    kind, _dash, number = text.partition("-")
    if kind not in CalendarKind.values or not number.isdecimal() or len(number) > 18:
        words = _("Choose whose calendar it is.")
        raise InvalidInputError(words, [FieldFault("subject", "invalid", words)])
    return CalendarKind(kind), int(number)


@desk_view
def end(desk: Desk, pk: int) -> HttpResponse:
    """End a link at once."""
    desk.require_lead()
    calendar = end_link(site_id=desk.site_id, calendar_id=pk, at=desk.now)
    return done(desk, _("That link shows nothing any more."), PAGE_OF[CalendarKind(calendar.kind)])
