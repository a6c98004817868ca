"""To decide: the few things that need it, each with its deadline and two answers, and what became
of those before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.models import Place
from schedules.alerts.models import Alert, AlertKind, AnswerCode
from schedules.alerts.queries import past_alerts, standing_alerts
from schedules.alerts.services import decide
from schedules.work.models import WorkOrder

from .alert_words import Named, say_alert, say_answer, say_evidence
from .base import Desk, desk_view
from .forms import read_whole
from .wording import say_said

MOST_OPEN, MOST_PAST = 20, 40
ORDERS = ("work_order", "instead_of")  # facts of answers that are jobs
PAGE_OF = {  # where the deed is done
    AlertKind.BEDS: "pens",
    AlertKind.SAND: "sand",
    AlertKind.BASIN: "basins",
    AlertKind.MACHINE: "machines",
    AlertKind.DRIVERS: "roster",
}


@dataclass(frozen=True, slots=True)
class AlertLine:
    """One matter in words; `answers` are None while they are reckoned."""

    pk: int
    kind: str
    n_answered: int
    what: str
    why: list[str]
    decide_by: str
    is_past_due: bool
    answers: list[str] | None
    url: str


@dataclass(frozen=True, slots=True)
class PastLine:
    """One matter that was decided or went by."""

    pk: int
    when: str
    what: str
    decided: str
    who: str
    over: str
    url: str


def alerts_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: 4 queries."""
    standing = list(standing_alerts(desk.site_id))
    found = [row for row in standing if row.decided_at is None]
    past = list(past_alerts(desk.site_id)[:MOST_PAST])
    named = _named(desk, [*standing, *past])
    lines = [_line(desk, row, named) for row in found[:MOST_OPEN]]
    return {
        "finding": _finding(lines, len(found)),
        "lines": lines,
        "is_more": len(found) > MOST_OPEN,
        "most": MOST_OPEN,
        "resting": [_past(desk, row, named) for row in standing if row.decided_at is not None],
        "past": [_past(desk, row, named) for row in past],
    }


def _finding(lines: list[AlertLine], n: int) -> str:
    if not n:
        return _("Nothing needs a decision.")
    said = ngettext("%d thing needs a decision.", "%d things need a decision.", n) % n
    return f"{said} {_('The soonest')}: {lines[0].decide_by}."


def _named(desk: Desk, alerts: Iterable[Alert]) -> Named:
    """Read the names that the answers speak of: 2 queries."""
    spoken = list(_all_facts(alerts))
    orders = [facts[name] for facts in spoken for name in ORDERS if facts.get(name)]
    basins = [facts["basin"] for facts in spoken if facts.get("basin")]
    rows = WorkOrder.objects.filter(site_id=desk.site_id, pk__in=orders)
    places = Place.objects.filter(site_id=desk.site_id, pk__in=basins)
    return Named(
        jobs={
            order.pk: f"{say_said(order.title, desk.language)} {desk.place(order.place)}"
            for order in rows.select_related("place__parent")
        },
        places={place.pk: place for place in places.select_related("parent")},
    )


def _all_facts(alerts: Iterable[Alert]) -> Iterable[Mapping[str, Any]]:
    for alert in alerts:
        for answer in [*(alert.answers or []), *([alert.decision] if alert.decision else [])]:
            yield answer["facts"]


def _line(desk: Desk, alert: Alert, named: Named) -> AlertLine:
    answers = alert.answers
    return AlertLine(
        pk=alert.pk,
        kind=alert.kind,
        n_answered=alert.n_answered,
        what=say_alert(desk, alert),
        why=say_evidence(desk, alert),
        decide_by=_decide_by(desk, alert),
        is_past_due=alert.due_at <= desk.now,
        answers=None if answers is None else [say_answer(desk, one, named) for one in answers],
        url=_page(desk, alert),
    )


def _decide_by(desk: Desk, alert: Alert) -> str:
    if alert.due_at <= desk.now:
        return _("now")
    return _("by %s") % desk.moment(alert.due_at)


def _page(desk: Desk, alert: Alert) -> str:
    return reverse(PAGE_OF[AlertKind(alert.kind)], args=[desk.caller.site.slug])


def _past(desk: Desk, alert: Alert, named: Named) -> PastLine:
    decided = say_answer(desk, alert.decision, named) if alert.decision else alert.note
    if alert.decided_by is None:
        decided = _("It went by without a decision.")
    return PastLine(
        pk=alert.pk,
        when=desk.moment(alert.raised_at),
        what=say_alert(desk, alert),
        decided=f"{decided} ({alert.note})" if alert.decision and alert.note else decided,
        who=alert.decided_by.name if alert.decided_by else "",
        over=desk.moment(alert.ended_at) if alert.ended_at else "",
        url=_page(desk, alert),
    )


@desk_view
def decide_alert(desk: Desk, pk: int) -> HttpResponse:
    """Keep a decision, and lead to where the deed is done."""
    desk.require_lead()
    asked = desk.request.POST
    answer = n_answered = None
    if "answer" in asked:
        answer = read_whole(asked, "answer", _("Answer"), least=0, most=9)
        n_answered = read_whole(asked, "n_answered", _("Answer"))
    row = decide(
        site_id=desk.site_id,
        alert_id=pk,
        answer=answer,
        n_answered=n_answered,
        note=asked.get("note", ""),
        by=desk.caller.actor,
        at=desk.now,
    )
    messages.success(desk.request, _("Your decision is kept. This is the page where it is done."))
    return HttpResponseRedirect(_where(desk, row))


def _where(desk: Desk, alert: Alert) -> str:
    """Give the page where the deed is done: that of its job, where it is about one."""
    decision = alert.decision or {}
    facts = decision.get("facts", {})
    is_instead = decision.get("code") == AnswerCode.INSTEAD_OF
    order_id = facts.get("instead_of") if is_instead else facts.get("work_order")
    if order_id and WorkOrder.objects.filter(site_id=desk.site_id, pk=order_id).exists():
        return reverse("work-order", args=[desk.caller.site.slug, order_id])
    return _page(desk, alert)
