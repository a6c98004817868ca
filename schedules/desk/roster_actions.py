"""What the forms of the roster page do: make one, publish it, change a day, answer a swap."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from crews.roster import days, rosters
from crews.roster.dates import refuse_date, today_of
from equipment.site.errors import InvalidInputError

from .base import Desk, desk_view
from .forms import read_key

WEEK = timedelta(days=7)


@desk_view
def make(desk: Desk) -> HttpResponse:
    desk.require_lead()
    monday = read_date(desk, "from_on", _("First day"))
    from_on = max(monday, today_of(desk.caller.site, desk.now))  # of a running week its rest
    refuse_date(desk.caller.site, from_on, desk.now)
    is_refill = desk.request.POST.get("how") == "refill"
    rosters.begin_roster(
        site_id=desk.site_id,
        from_on=from_on,
        until_on=monday + WEEK,
        by=desk.caller.actor,
        at=desk.now,
        is_refill=is_refill,
    )
    return back_to_week(desk, _("The roster is being made; it comes in a moment."), from_on)


@desk_view
def publish(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    run = rosters.publish_roster(site_id=desk.site_id, run_id=pk, at=desk.now)
    return back_to_week(desk, _("The roster is published."), run.from_on)


@desk_view
def give_up(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    run = rosters.cancel_roster(site_id=desk.site_id, run_id=pk, at=desk.now)
    return back_to_week(desk, _("The roster is given up; shifts stay as they are."), run.from_on)


@desk_view
def put(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    on = read_date(desk, "on", _("Day"))
    judged = days.put_shift(
        site_id=desk.site_id,
        worker_id=read_key(posted, "worker", _("Person")),
        on=on,
        pattern_id=read_key(posted, "pattern", _("Shift")) if posted.get("pattern") else None,
        is_anyway=posted.get("anyway") == "yes",
        at=desk.now,
    )
    return back_to_week(desk, " ".join([_("The roster is changed."), *judged.broken]), on)


@desk_view
def ask_swap(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    on = read_date(desk, "on", _("Day"))
    days.ask_swap(
        site_id=desk.site_id,
        worker_id=read_key(posted, "worker", _("Who gives the shift")),
        local_date=on,
        to_worker_id=read_key(posted, "to", _("Who takes it")),
        for_date=read_date(desk, "for", _("For the shift of")) if posted.get("for") else None,
        by=desk.caller.actor,
        at=desk.now,
    )
    return back_to_week(desk, _("The swap waits for an answer."), on)


@desk_view
def settle_swap(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    is_approved = desk.request.POST.get("answer") == "yes"
    swap = days.settle_swap(
        site_id=desk.site_id,
        swap_id=pk,
        asked_at=_read_asked_at(desk),
        is_approved=is_approved,
        by=desk.caller.actor,
        at=desk.now,
    )
    words = _("The swap is approved.") if is_approved else _("The swap is refused.")
    return back_to_week(desk, words, swap.local_date)


def _read_asked_at(desk: Desk) -> datetime:
    """When the swap was asked for as the page showed it."""
    try:
        asked_at = datetime.fromisoformat(desk.request.POST.get("asked_at", ""))
    except ValueError as error:
        raise InvalidInputError(_("Open the roster page again and answer there.")) from error
    if asked_at.tzinfo is None:
        raise InvalidInputError(_("Open the roster page again and answer there."))
    return asked_at


def read_date(desk: Desk, name: str, label: str) -> date:
    """Read a day from the form; InvalidInputError says which field has none."""
    text = desk.request.POST.get(name, "").strip()
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        words = _("%(label)s must be a day, as in 2026-03-09.") % {"label": label}
        raise InvalidInputError(words) from error


def back_to_week(desk: Desk, words: str, on: date) -> HttpResponse:
    """Say what was done and go back to the week that it concerns."""
    messages.success(desk.request, words)
    url = reverse("roster", args=[desk.caller.site.slug])
    return HttpResponseRedirect(f"{url}?from={on.isoformat()}")
