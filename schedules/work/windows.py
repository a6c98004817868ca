"""Whether cows were away when somebody worked in their pen."""

from __future__ import annotations

from datetime import datetime

from schedules.rounds.models import BedWindow, PenVisit

from .models import Trigger, WorkOrder
from .rules import OUTSIDE_VISIT


def is_outside_window(order: WorkOrder, at: datetime) -> bool:
    """Say whether work tied to a visit was done while cows were in: at most 2 queries.

    Beds have their own window, which return gates make longer; the rest of a pen has the visit's.
    """
    rule = order.standing_order
    if order.visit_id is None or rule is None or rule.trigger != Trigger.PEN_VISIT:
        return False
    if rule.trigger_rule["within"] in OUTSIDE_VISIT:
        return False
    window = BedWindow.objects.filter(visit=order.visit_id, bed_group=order.place_id).first()
    if window is not None:
        return not window.opens_at <= at <= window.closes_at
    visit = PenVisit.objects.get(pk=order.visit_id)
    return not visit.first_out_at <= at <= visit.last_back_at
