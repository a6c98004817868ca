"""Standing orders: the rules that make work; a lead changes how it is done and sees what moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.site.models import Place
from equipment.site.queries import word
from schedules.work.edit import edit_standing_order, take_over_content
from schedules.work.models import StandingOrder, WorkOrder
from schedules.work.queries import OPEN
from schedules.work.reconcile import Counts
from schedules.work.rules import FINDS_ITS_PLACE

from .base import Desk, desk_view, done, page_context
from .content import SAID, content_context
from .forms import MOST_MIN, read_number, read_whole
from .wording import say_said

# The parts of a duration formula that a person may type.
RATES = {
    "base_min": gettext_lazy("Minutes, each time"),
    "per_stall_min": gettext_lazy("Minutes a stall"),
    "per_m_min": gettext_lazy("Minutes a meter of alley"),
    "per_m2_min": gettext_lazy("Minutes a square meter of bay"),
    "per_t_min": gettext_lazy("Minutes a metric ton"),
    "per_cow_min": gettext_lazy("Minutes a cow"),
}
PRIORITIES = range(1, 10)  # RFC 5545, 3.8.1.9: 1 is the highest, 9 the lowest


@dataclass(frozen=True, slots=True)
class Rate:
    """One number of the duration's formula."""

    name: str
    label: str
    value: str


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One standing order as a row."""

    order: StandingOrder
    title: str
    trigger: str
    where: str
    minutes: str
    rates: list[Rate]
    n_open: str


@desk_view
def standing_orders(desk: Desk) -> HttpResponse:
    """List all standing orders, those in use first: 11 queries besides the frame's."""
    rows = StandingOrder.objects.filter(site_id=desk.site_id)
    made = WorkOrder.objects.filter(site_id=desk.site_id, status__in=OPEN)
    n_open = dict(made.values_list("standing_order_id").annotate(n=Count("pk")).order_by())
    places = {(p.kind, p.key): p for p in Place.objects.filter(site_id=desk.site_id)}
    lines = [
        _line(desk, row, n_open.get(row.pk, 0), places) for row in rows.order_by("priority", "key")
    ]
    in_use = [line for line in lines if line.order.retired_at is None]
    n = len(in_use)
    context = page_context(desk, "standing-orders") | {
        "finding": ngettext("%d standing order makes work.", "%d standing orders make work.", n)
        % n,
        "in_use": in_use,
        "retired": [line for line in lines if line.order.retired_at is not None],
        "priorities": PRIORITIES,
        **content_context(desk),
    }
    return render(desk.request, "desk/standing_orders.html", context)


def _line(
    desk: Desk, order: StandingOrder, n_open: int, places: Mapping[tuple[str, str], Place]
) -> RuleLine:
    return RuleLine(
        order=order,
        title=say_said(order.title, desk.language),
        trigger=str(order.get_trigger_display()),
        where=_where(desk, order, places),
        minutes=_minutes(order.duration),
        rates=[
            Rate(name, str(label), f"{order.duration[name]:g}" if name in order.duration else "")
            for name, label in RATES.items()
            if name in order.duration or name == "base_min"
        ],
        n_open=f"{n_open:,}",
    )


def _minutes(duration: Mapping[str, Any]) -> str:
    """Say a duration's formula: each number with what it is counted by."""
    said = [
        str(words) % f"{duration[name]:g}" for name, words in SAID.items() if duration.get(name)
    ]
    if duration.get("from_service_item"):
        said.append(_("as long as the service takes"))
    return " + ".join(said) or "–"


def _where(desk: Desk, order: StandingOrder, places: Mapping[tuple[str, str], Place]) -> str:
    """Say at which places it makes work: up to three by name."""
    kind, keys = order.target.get("kind", ""), order.target.get("keys")
    if not kind or order.trigger in FINDS_ITS_PLACE:
        return "–"
    if keys is None:
        return _("every one: %s") % word(desk.caller.site, desk.language, kind)
    names = [desk.place(places[kind, key]) for key in keys if (kind, key) in places]
    if len(names) > 3:
        return _("%(names)s and %(n)d more") % {"names": ", ".join(names[:2]), "n": len(names) - 2}
    return ", ".join(names) or "–"


@desk_view
def edit(desk: Desk, pk: int) -> HttpResponse:
    """Change priority, people and minutes; coming work that nobody touched is made anew."""
    desk.require_lead()
    posted = desk.request.POST
    version = read_whole(posted, "version", _("Version"))
    changes: dict[str, Any] = {
        "priority": read_whole(posted, "priority", _("Priority"), least=1, most=9),
        "n_people": read_whole(posted, "n_people", _("People"), least=1, most=20),
    }
    standing = StandingOrder.objects.filter(site_id=desk.site_id, pk=pk).first()
    if standing is not None:
        changes["duration"] = _read_duration(desk, standing.duration)
    return _save(desk, pk, changes, version)


def _read_duration(desk: Desk, before: Mapping[str, Any]) -> dict[str, Any]:
    """Take the typed minutes; what the form does not show stays as it is."""
    posted = desk.request.POST
    typed = {
        name: read_number(posted, name, str(label), most=MOST_MIN)
        for name, label in RATES.items()
        if posted.get(name, "").strip()
    }
    kept = {k: v for k, v in before.items() if k not in RATES or k not in posted}
    return {**kept, **typed}


@desk_view
def retire(desk: Desk, pk: int) -> HttpResponse:
    """Take a standing order out of use, or into use again."""
    desk.require_lead()
    posted = desk.request.POST
    version = read_whole(posted, "version", _("Version"))
    retired_at = None if posted.get("use") == "again" else desk.now
    return _save(desk, pk, {"retired_at": retired_at}, version)


@desk_view
def take_over(desk: Desk, pk: int) -> HttpResponse:
    """Put what done work takes into the standing order; its coming work is made anew."""
    desk.require_lead()
    order, counts = take_over_content(
        site_id=desk.site_id,
        standing_order_id=pk,
        by=desk.caller.actor,
        at=desk.now,
        version=read_whole(desk.request.POST, "version", _("Version")),
    )
    words = _("%(work)s now takes %(minutes)s.") % {
        "work": say_said(order.title, desk.language),
        "minutes": _minutes(order.duration),
    }
    return done(desk, f"{words} {_say_counts(counts)}", "standing-orders")


def _save(desk: Desk, pk: int, changes: Mapping[str, Any], version: int) -> HttpResponse:
    counts = edit_standing_order(
        site_id=desk.site_id,
        standing_order_id=pk,
        changes=changes,
        by=desk.caller.actor,
        at=desk.now,
        version=version,
    )
    return done(desk, _say_counts(counts), "standing-orders")


def _say_counts(counts: Counts) -> str:
    """Say how much of the coming work was made anew."""
    if not counts.n_all:
        return _("Saved. No coming job had to change.")
    said = ngettext(
        "Saved. %d coming job was made anew", "Saved. %d coming jobs were made anew", counts.n_all
    )
    parts = _("%(made)d new, %(moved)d changed, %(gone)d taken out") % {
        "made": counts.n_made + counts.n_revived,
        "moved": counts.n_moved,
        "gone": counts.n_cancelled + counts.n_missed,
    }
    return f"{said % counts.n_all}: {parts}."
