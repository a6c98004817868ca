"""What is left of part done work on beds: to what remains of its gap, or missed."""

from __future__ import annotations

from datetime import timedelta

from django.utils.translation import gettext as _

from equipment.site.services import service_actor
from equipment.site.writes import SiteWrite
from schedules.errors import CannotUndoError

from .amounts import amount_of
from .calc.drafts import rest_key
from .models import Cause, Outcome, Status, WorkOrder
from .rules import minutes_for

COPIED = (
    "standing_order_id",
    "title",
    "place_id",
    "visit_id",
    "local_date",
    "due_at",
    "skill",
    "machine_kinds",
    "n_people",
    "priority",
)


def carry_rest(write: SiteWrite, order: WorkOrder) -> WorkOrder | None:
    """Make a work order of the stalls left, while its gap leaves time to do any; else None.

    Saying the same again brings the same one back.
    """
    rule, n_left, at = order.standing_order, order.n_left, order.ended_at
    if rule is None or not n_left or at is None or order.visit_id is None:
        return None
    shortest_min = minutes_for(rule.duration, n_stalls=1, n_people=order.n_people)
    if at + timedelta(minutes=shortest_min) > order.due_at:
        return None
    rest, _made = WorkOrder.objects.update_or_create(
        site_id=order.site_id,
        natural_key=rest_key(order.natural_key),
        defaults={
            **{name: getattr(order, name) for name in COPIED},
            "starts_after": at,
            "duration_min": minutes_for(rule.duration, n_stalls=n_left, n_people=order.n_people),
            "amount": amount_of(n_left),
            "n_left": n_left,
            "status": Status.NEEDS_ACTION,
            "outcome": "",
            "reason": "",
            "ended_at": None,
            "ended_by": None,
            "updated_at": write.at,
        },
    )
    return rest


def take_back_rest(write: SiteWrite, order: WorkOrder) -> None:
    """Cancel what was carried over from a report that is taken back; refused once it is begun."""
    rests = WorkOrder.objects.select_for_update(no_key=True).filter(site_id=order.site_id)
    rest = rests.filter(natural_key=rest_key(order.natural_key)).first()
    if rest is None or rest.status == Status.CANCELLED:
        return
    if rest.status != Status.NEEDS_ACTION:
        raise CannotUndoError(_("The rest of it was begun. Ask the lead."))
    rest.status, rest.outcome, rest.reason = (
        Status.CANCELLED,
        Outcome.NOT_NEEDED,
        Cause.REPORT_UNDONE,
    )
    rest.ended_at, rest.ended_by = write.at, service_actor(order.site_id)
    rest.version += 1
    rest.updated_at = write.at
    rest.save()
