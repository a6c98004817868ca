"""The page of what came in late, and the deed of its two buttons.

A room above desk and phone, since the page is the one's and what it settles the other's.
"""

from __future__ import annotations

import uuid

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from equipment.site.errors import InvalidInputError
from schedules.desk.base import Desk, desk_view, done, page_context
from schedules.phone.documents_work import COUNT, LEAVE

from .services import settle_event
from .tray import late_context


@desk_view
def came_late(desk: Desk) -> HttpResponse:
    context = page_context(desk, "came-late") | late_context(desk)
    return render(desk.request, "late/late.html", context)


@desk_view
def settle(desk: Desk, event_id: uuid.UUID) -> HttpResponse:
    desk.require_lead()
    answer = desk.request.POST.get("answer", "")
    if answer not in (COUNT, LEAVE):
        raise InvalidInputError(_("Say whether it counts."))
    result = settle_event(caller=desk.caller, event_id=event_id, answer=answer, at=desk.now)
    words = _("Decided.") if result else _("It was decided before: the first answer stands.")
    return done(desk, words, "came-late")


urlpatterns = [
    path("farm/<slug:slug>/came-late/", came_late, name="came-late"),
    path(
        "farm/<slug:slug>/came-late/<uuid:event_id>/settle/",
        require_POST(settle),
        name="settle-event",
    ),
]
