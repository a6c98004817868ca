"""What the forms of the plan page do: look for a better plan, stop looking."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _

from schedules.dayplan.searches import MOST_S, ask_search, stop_search

from .base import Desk, desk_view, done
from .forms import read_whole


@desk_view
def ask(desk: Desk) -> HttpResponse:
    desk.require_lead()
    seconds = read_whole(desk.request.POST, "seconds", _("Seconds"), least=1, most=int(MOST_S))
    ask_search(site_id=desk.site_id, at=desk.now, seconds=seconds)
    return done(desk, _("The plan is mended at once and bettered while there is time."), "plan")


@desk_view
def stop(desk: Desk) -> HttpResponse:
    desk.require_lead()
    stop_search(site_id=desk.site_id, at=desk.now)
    return done(desk, _("It stops in a moment; the best plan that it has stays."), "plan")
