"""What the forms of the year-ahead page do: ask for a year, stop it, go on with it."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _

from schedules.outlook import services

from .base import Desk, desk_view, done
from .forms import read_number, read_whole, read_words

LEAST_MEMBERS, MOST_MEMBERS = 2, 10_000


@desk_view
def ask(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    n_members = read_whole(
        posted, "n_members", _("Possible years"), least=LEAST_MEMBERS, most=MOST_MEMBERS
    )
    services.ask_year(
        site_id=desk.site_id,
        by=desk.caller.actor,
        at=desk.now,
        n_members=n_members,
        change=_read_change(desk),
    )
    return done(desk, _("The year ahead is asked for; its first parts come in a moment."), "year")


@desk_view
def stop(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    services.stop_run(site_id=desk.site_id, run_id=pk, at=desk.now)
    return done(desk, _("It rests after the part it is at."), "year")


@desk_view
def resume(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    services.resume_run(site_id=desk.site_id, run_id=pk, at=desk.now)
    return done(desk, _("It goes on."), "year")


def _read_change(desk: Desk) -> dict[str, float | str]:
    """Read the one change asked for; fields left empty stay as the farm has them."""
    posted = desk.request.POST
    limits = {
        "recovery_pct": (_("Sand given back, %"), 100.0),
        "rain_pct": (_("Rain, % of now"), 1000.0),
        "more_cows_pct": (_("More cows and stalls, %"), 100.0),
    }
    told = {
        name: read_number(posted, name, label, most=most)
        for name, (label, most) in limits.items()
        if posted.get(name, "").strip()
    }
    wholes = {"cure_d": (_("Days of cure"), 365), "turns_per_d": (_("Turns a day"), 6)}
    change: dict[str, float | str] = {
        name: read_whole(posted, name, label, most=most)
        for name, (label, most) in wholes.items()
        if posted.get(name, "").strip()
    }
    for name, as_told in (
        ("recovery_frac", "recovery_pct"),
        ("rain_factor", "rain_pct"),
        ("more_cows_frac", "more_cows_pct"),
    ):
        if as_told in told:
            change[name] = told[as_told] / 100
    if pad := read_words(posted, "without_pad", desk.noun("pad"), most=80):
        change["without_pad"] = pad
    return change
