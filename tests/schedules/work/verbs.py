"""The verbs of work as the tests of this room say them."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from equipment.site.models import Actor
from equipment.site.services import service_actor
from schedules.work.decisions import cancel_work
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.progress import add_load, finish_work, start_work
from tests.factories import utc

T0 = utc("2026-03-04 12:10")


def who(order: WorkOrder, by: Actor, minutes: float = 0) -> dict[str, Any]:
    at = T0 + timedelta(minutes=minutes)
    return {"site_id": order.site_id, "work_order_id": order.pk, "by": by, "at": at}


Verb = Callable[[WorkOrder, Actor, float], WorkOrder]

VERBS: dict[str, Verb] = {
    "start": lambda o, by, m: start_work(**who(o, by, m)),
    "done": lambda o, by, m: finish_work(outcome="done", **who(o, by, m)),
    "part": lambda o, by, m: finish_work(outcome="part", n_left=7, **who(o, by, m)),
    "could_not": lambda o, by, m: finish_work(outcome="could_not", reason="ice", **who(o, by, m)),
    "load": lambda o, by, m: add_load(**who(o, by, m)),
    "cancel": lambda o, by, m: cancel_work(reason="rain", **who(o, by, m)),
}


def close_by_service(order: WorkOrder, outcome: Outcome) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(
        status=Status.CANCELLED,
        outcome=outcome,
        ended_at=T0,
        ended_by=service_actor(order.site_id),
    )
