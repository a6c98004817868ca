"""Came in late: did phones bring something I must decide? Only cases with a choice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from crews.people.queries import languages_of
from equipment.site.models import Event
from schedules.desk.base import Desk
from schedules.desk.wording import say_order_state, say_report
from schedules.phone.documents_work import ANSWERS, COUNT, LEAVE, TOLD
from schedules.work.calc.reports import Said
from schedules.work.models import Report, WorkOrder
from schedules.work.queries import say_decision, say_title

from .queries import asking_orders, orders_named, refused_events

MOST = 50  # that one page shows: the rest follows as these are decided
OWN_WORDS = ("text", "reason", "cause", "note", "what")  # fields in which people write
LONGEST = 300
MOST_SAID = 3  # of what was told of one work order: the last
ASIDE = {Said.ACCEPTED, Said.DISMISSED, Said.CANCELLED, Said.LOAD}  # a lead's words, and counts


@dataclass(frozen=True, slots=True)
class Saying:
    """What one person told, when, and when it came in; own words are in that one's language."""

    who: str
    told: str
    said_at: str
    came_at: str
    own_words: str
    language: str


@dataclass(frozen=True, slots=True)
class Case:
    """One thing that waits for a lead: what it is about, who said what, and why it is asked.

    The words of a refusal are in the language of who was refused.
    """

    key: str
    what: str
    url: str
    state: str
    at: datetime
    since: str
    sayings: list[Saying]
    why: str
    refusal: str
    language: str
    settle_url: str
    field: str
    count: str
    leave: str


def late_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: 5 queries."""
    events = list(refused_events(desk.site_id))
    orders = list(asking_orders(desk.site_id))
    named = orders_named(desk.site_id, {pk for e in events if (pk := _order_named(e))})
    said = {order.pk: _last_said(order) for order in orders}
    tellers = {event.actor_id for event in events}
    tellers |= {report.by_id for reports in said.values() for report in reports}
    speak = languages_of(desk.site_id, tellers)
    cases = [_of_event(desk, event, named, speak) for event in events]
    cases += [_of_order(desk, order, said[order.pk], speak) for order in orders]
    cases.sort(key=lambda case: (case.at, case.key))
    return {
        "finding": _finding(cases),
        "cases": cases[:MOST],
        "n_cases": len(cases),
        "most": MOST,
        "count_words": str(ANSWERS[COUNT]),
        "leave_words": str(ANSWERS[LEAVE]),
    }


def _finding(cases: list[Case]) -> str:
    if not cases:
        return _("Nothing waits for a decision.")
    n = len(cases)
    said = ngettext("%d case waits for a decision.", "%d cases wait for a decision.", n) % n
    return " ".join([said, _("The oldest came in %s.") % cases[0].since])


# Events that were refused -------------------------------------------------------------------------


def _of_event(desk: Desk, event: Event, named: dict[int, WorkOrder], speak: dict[int, str]) -> Case:
    order = named.get(_order_named(event) or 0)
    told = str(TOLD.get(event.kind, event.kind))
    language = speak.get(event.actor_id, "")
    came_at = desk.moment(event.received_at)
    said_at = desk.moment(event.happened_at)
    saying = Saying(event.actor.name, told, said_at, came_at, _own_words(event), language)
    return Case(
        key=f"event-{event.pk}",
        what=_job(desk, order) if order else told,
        url=_url(desk, order),
        state=say_order_state(order) if order else "",
        at=event.received_at,
        since=came_at,
        sayings=[saying],
        why=_("It was not taken:"),
        refusal=str(event.answer.get("detail", "")),
        language=language,
        settle_url=reverse("settle-event", args=[desk.caller.site.slug, event.pk]),
        field="answer",
        count=COUNT,
        leave=LEAVE,
    )


def _order_named(event: Event) -> int | None:
    """Give the work order that a refused event names; its shape is the phone's own."""
    payload: Any = event.payload
    found = payload.get("work_order") if isinstance(payload, dict) else None
    is_key = isinstance(found, int) and not isinstance(found, bool) and 0 < found < 2**63
    return found if is_key else None


def _own_words(event: Event) -> str:
    payload: Any = event.payload
    if not isinstance(payload, dict):
        return ""
    found = (payload.get(name) for name in OWN_WORDS)
    return next((text[:LONGEST] for text in found if isinstance(text, str) and text.strip()), "")


# Work orders that ask -----------------------------------------------------------------------------


def _of_order(desk: Desk, order: WorkOrder, reports: list[Report], speak: dict[int, str]) -> Case:
    at = _came(reports[-1]) if reports else order.updated_at
    return Case(
        key=f"work-{order.pk}",
        what=_job(desk, order),
        url=_url(desk, order),
        state=say_order_state(order),
        at=at,
        since=desk.moment(at),
        sayings=[_saying(desk, report, speak) for report in reports],
        why=say_decision(order.needs_decision),
        refusal="",
        language="",
        settle_url=reverse("settle-order", args=[desk.caller.site.slug, order.pk]),
        field="counts",
        count="yes",
        leave="no",
    )


def _last_said(order: WorkOrder) -> list[Report]:
    """Give the last things that people at work told of it, in the order they came."""
    told = [report for report in order.reports.all() if report.kind not in ASIDE]
    return sorted(told, key=lambda report: report.pk)[-MOST_SAID:]


def _saying(desk: Desk, report: Report, speak: dict[int, str]) -> Saying:
    return Saying(
        who=report.by.name,
        told=_report_words(report),
        said_at=desk.moment(report.at),
        came_at=desk.moment(_came(report)),
        own_words=report.reason,
        language=speak.get(report.by_id, ""),
    )


def _came(report: Report) -> datetime:
    """When it was heard: later than it was said where a phone was without signal."""
    return report.event.received_at if report.event else report.at


def _report_words(report: Report) -> str:
    said = say_report(report.kind)
    if not report.n_left:
        return said
    left = ngettext("%d stall left", "%d stalls left", report.n_left) % report.n_left
    return f"{said}, {left}"


def _job(desk: Desk, order: WorkOrder) -> str:
    return f"{say_title(order)} {desk.place(order.place)}"


def _url(desk: Desk, order: WorkOrder | None) -> str:
    return reverse("work-order", args=[desk.caller.site.slug, order.pk]) if order else ""
