"""What a person does about the parlor: take over an order, say that a milking ended."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError
from schedules.rounds.models import Milking
from schedules.rounds.services import end_milking, set_milking_order

from .base import Desk, desk_view, done
from .forms import read_keys


@desk_view
def milking_order(desk: Desk) -> HttpResponse:
    desk.require_lead()
    pen_ids = read_keys(desk.request.POST, "pen", desk.noun("pens"))
    set_milking_order(site_id=desk.site_id, pen_ids=pen_ids, at=desk.now)
    return done(desk, _("The order is the farm's from the next planned milking on."), "pens")


@desk_view
def milking_end(desk: Desk, pk: int) -> HttpResponse:
    """Say that a milking ended when it was expected to."""
    desk.require_lead()
    milking = Milking.objects.filter(site_id=desk.site_id, pk=pk).first()
    if milking is None:
        raise NotFoundError(_("There is no such milking here."))
    end_milking(
        site_id=desk.site_id,
        milking_id=pk,
        at=milking.ends_at,
        by=desk.caller.actor,
        received_at=desk.now,
    )
    return done(desk, _("The milking is ended."), "pens")
