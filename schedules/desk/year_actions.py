"""What the forms of the year-ahead page do: ask for a year, stop it, go on with it."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _

from equipment.sandyard.models import Pad
from equipment.site.errors import InvalidInputError, NotFoundError
from schedules.outlook import services

from .base import Desk, desk_view, done
from .forms import read_number

LEAST_MEMBERS, MOST_MEMBERS = 2, 10_000


@desk_view
def ask(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    n_members = int(read_number(posted, "n_members", _("Possible years"), most=MOST_MEMBERS))
    if n_members < LEAST_MEMBERS:
        raise InvalidInputError(_("Possible years: two at least."))
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
        "cure_d": (_("Days of cure"), 365.0),
        "turns_per_d": (_("Turns a day"), 6.0),
        "recovery_pct": (_("Sand given back, %"), 100.0),
        "rain_pct": (_("Rain, % of now"), 1000.0),
        "more_cows_pct": (_("More cows and stalls, %"), 100.0),
    }
    told = {
        name: read_number(posted, name, label, most=most)
        for name, (label, most) in limits.items()
        if posted.get(name, "").strip()
    }
    change: dict[str, float | str] = {
        name: round(told[name]) for name in ("cure_d", "turns_per_d") if name in told
    }
    for name, as_told in (
        ("recovery_frac", "recovery_pct"),
        ("rain_factor", "rain_pct"),
        ("more_cows_frac", "more_cows_pct"),
    ):
        if as_told in told:
            change[name] = told[as_told] / 100
    pad = posted.get("without_pad", "")
    if pad:
        if not Pad.objects.filter(site_id=desk.site_id, place__key=pad).exists():
            raise NotFoundError(_("There is no such place here."))
        change["without_pad"] = pad
    return change
