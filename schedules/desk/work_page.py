"""One work order: what, where, who, why nobody; and what a lead may do about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import prefetch_related_objects
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from crews.people.queries import skills_on
from crews.roster.queries import working_shifts
from equipment.machines.models import Machine
from equipment.machines.queries import machines_of, usable_machine_ids
from equipment.site.calc.local_time import local_date_of
from schedules.dayplan.byhand import reassign, take_off
from schedules.dayplan.queries import claims_prefetch
from schedules.work.decisions import cancel_work, settle_decision
from schedules.work.models import Dependency, Outcome, Report, WorkOrder
from schedules.work.progress import finish_work, start_work
from schedules.work.queries import order_detail, say_decision, waiting_reasons

from .base import Desk, desk_view, done, page_context
from .forms import read_key, read_keys, read_moment, read_whole, read_words
from .help_words import help_words
from .orders import is_open, order_line
from .reasons import names_for
from .wording import say_order_state, say_report, say_said


@dataclass(frozen=True, slots=True)
class Choice:
    """Someone or something that could be given the work."""

    pk: int
    name: str
    note: str
    is_fit: bool


@dataclass(frozen=True, slots=True)
class SaidLine:
    """One report in words."""

    report: Report
    words: str
    left: str
    age: str


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One work order that must come first."""

    name: str
    state: str
    gap_min: float
    url: str


@desk_view
def work_order(desk: Desk, pk: int) -> HttpResponse:
    """Show one work order: about 18 queries."""
    order = _find(desk, pk)
    waits = waiting_reasons(desk.site_id, [order.pk]).get(order.pk, [])
    rule = order.standing_order
    context = page_context(desk, "today") | {
        "order": order,
        "line": order_line(desk, order, waits, names_for(desk.site_id, [order])),
        "how": say_said(rule.how, desk.language) if rule else "",
        "caution": say_said(rule.caution, desk.language) if rule else "",
        "is_open": is_open(order),
        "starts_after": desk.moment(order.starts_after),
        "decision": say_decision(order.needs_decision) if order.needs_decision else "",
        "workers": _workers(desk, order),
        "machines": _machines(desk, order),
        "suggested": _suggested(desk, order),
        "days": _days(desk, order),
        "reports": [_said_line(desk, report) for report in order.reports.all()],
        "needs": [_need_line(desk, need) for need in order.needs.all()],
        "help": help_words(desk, order) if _is_help_asked(desk, order) else None,
    }
    return render(desk.request, "desk/work_order.html", context)


def _is_help_asked(desk: Desk, order: WorkOrder) -> bool:
    return desk.request.GET.get("help") == "1" and hasattr(order, "unassigned")


def _said_line(desk: Desk, report: Report) -> SaidLine:
    n = report.n_left
    return SaidLine(
        report=report,
        words=say_report(report.kind),
        left=ngettext("%d stall left", "%d stalls left", n) % n if n else "",
        age=desk.ago(report.at),
    )


def _need_line(desk: Desk, need: Dependency) -> NeedLine:
    first = need.on
    return NeedLine(
        name=f"{say_said(first.title, desk.language)} {desk.place(first.place)}",
        state=say_order_state(first),
        gap_min=need.gap_min,
        url=reverse("work-order", args=[desk.caller.site.slug, first.pk]),
    )


def _find(desk: Desk, pk: int) -> WorkOrder:
    order = order_detail(desk.site_id, pk)
    if order is None:
        raise Http404
    prefetch_related_objects([order], claims_prefetch())
    return order


def _suggested(desk: Desk, order: WorkOrder) -> datetime:
    """Give the planned start, else the first moment of what is left of the window; local."""
    assignment = getattr(order, "assignment", None)
    at = assignment.starts_at if assignment else max(order.starts_after, desk.now)
    return at.astimezone(desk.caller.site.zone)


def _days(desk: Desk, order: WorkOrder) -> list[tuple[str, str]]:
    """Local days of what is left of the window: ISO, and in words."""
    zone = desk.caller.site.zone
    day = local_date_of(max(order.starts_after, desk.now), zone)
    last = max(local_date_of(order.due_at, zone), day)
    n_days = min((last - day).days, 14) + 1
    days = [day + timedelta(days=n) for n in range(n_days)]
    return [(d.isoformat(), desk.day(d)) for d in days]


def _workers(desk: Desk, order: WorkOrder) -> list[Choice]:
    """People on shift in the order's window, the qualified first."""
    shifts = working_shifts(desk.site_id, max(order.starts_after, desk.now), order.due_at)
    held = skills_on(desk.site_id, local_date_of(desk.now, desk.caller.site.zone))
    found = {}
    for shift in shifts:
        is_fit = not order.skill or order.skill in held.get(shift.worker_id, set())
        hours = f"{desk.clock(shift.starts_at)} – {desk.clock(shift.ends_at)}"
        note = hours if is_fit else f"{hours}, {_('not qualified')}"
        found[shift.worker_id] = Choice(shift.worker_id, shift.worker.name, note, is_fit)
    return sorted(found.values(), key=lambda c: (not c.is_fit, c.name))


def _machines(desk: Desk, order: WorkOrder) -> list[Choice]:
    """Machines of the kinds the work takes, those in use only."""
    usable = usable_machine_ids(desk.site_id)
    wanted: list[Machine] = [
        m
        for m in machines_of(desk.site_id)
        if m.pk in usable and (m.kind in order.machine_kinds or not order.machine_kinds)
    ]
    return [Choice(m.pk, m.name, str(m.get_kind_display()), True) for m in wanted]


@desk_view
def reassign_order(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    machine = posted.get("machine", "")
    reassign(
        site_id=desk.site_id,
        work_order_id=pk,
        worker_ids=read_keys(posted, "worker", _("People")),
        machine_id=read_key(posted, "machine", _("Machine")) if machine else None,
        starts_at=read_moment(posted, "starts", pgettext("moment", "Start"), desk.caller.site.zone),
        by=desk.caller.actor,
        at=desk.now,
        version=read_whole(posted, "version", _("Version")),
    )
    return done(desk, _("It is given, and the plan keeps it."), "today", anchor=f"order-{pk}")


@desk_view
def free_order(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    take_off(site_id=desk.site_id, work_order_id=pk, at=desk.now)
    return done(desk, _("It is free again; the plan may give it to anybody."), "today")


@desk_view
def tell_order(desk: Desk, pk: int, said: str) -> HttpResponse:
    """Record what happened, for a crew without a phone."""
    who: dict[str, Any] = {
        "site_id": desk.site_id,
        "work_order_id": pk,
        "by": desk.caller.actor,
        "at": desk.now,
    }
    posted = desk.request.POST
    if said == "start":
        order = start_work(**who)
    elif said == "done":
        order = finish_work(outcome=Outcome.DONE, **who)
    elif said == "part":
        n_left = read_whole(posted, "n_left", _("Stalls left"))
        order = finish_work(outcome=Outcome.PART, n_left=n_left, **who)
    else:
        reason = read_words(posted, "reason", _("Reason"), is_needed=True)
        order = finish_work(outcome=Outcome.COULD_NOT, reason=reason, **who)
    asked = order.needs_decision
    words = " ".join([_("Recorded."), *([say_decision(asked)] if asked else [])])
    return done(desk, words, "today", anchor=f"order-{pk}")


@desk_view
def cancel_order(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    reason = read_words(desk.request.POST, "reason", _("Reason"), is_needed=True)
    cancel_work(
        site_id=desk.site_id,
        work_order_id=pk,
        reason=reason,
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("It is no longer needed; the reason is kept."), "today")


@desk_view
def settle_order(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    settle_decision(
        site_id=desk.site_id,
        work_order_id=pk,
        accept=desk.request.POST.get("counts") == "yes",
        by=desk.caller.actor,
        at=desk.now,
    )
    if desk.request.POST.get("back") == "came-late":
        return done(desk, _("Decided."), "came-late")
    return done(desk, _("Decided."), "today", anchor=f"order-{pk}")
