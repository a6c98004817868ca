"""One work order as a row of a list: what, where, who, by when, and how it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from equipment.site.models import PlaceKind
from schedules.dayplan.models import Claim
from schedules.dayplan.queries import assignment_of
from schedules.work.models import Status, WorkOrder
from schedules.work.queries import WaitReason, say_amount

from .base import Desk
from .reasons import FarmNames, say_reasons
from .wording import say_order_state, say_said, say_waiting, state_class


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One work order in words; `starts_at` and `ends_at` are the plan's, None without one."""

    order: WorkOrder
    title: str
    amount: str
    place: str
    who: str
    crews: str
    machine: str
    planned: str
    due: str
    state: str
    state_class: str
    is_late: bool
    why: list[str]
    url: str
    starts_at: datetime | None
    ends_at: datetime | None

    @property
    def name(self) -> str:
        """What and where."""
        return f"{self.title} {self.place}"

    @property
    def is_bed_work(self) -> bool:
        """Whether it is a row of beds' own work at a visit."""
        return self.order.place.kind == PlaceKind.BED_GROUP and self.order.visit_id is not None

    @property
    def has_nobody(self) -> bool:
        """Whether it still asks for a person who was not found."""
        return self.order.status == Status.NEEDS_ACTION and not self.who and not self.is_late

    @property
    def will_be_late(self) -> bool:
        """Whether its plan ends after it is due."""
        return self.ends_at is not None and self.ends_at > self.order.due_at


def order_line(
    desk: Desk, order: WorkOrder, waits: list[WaitReason], names: FarmNames
) -> OrderLine:
    """Say one work order in a row. No query: all was fetched with it."""
    assignment = assignment_of(order)
    claims = list(assignment.claims.all()) if assignment else []
    return OrderLine(
        order=order,
        title=say_said(order.title, desk.language),
        amount=say_amount(order),
        place=desk.place(order.place),
        who=", ".join(c.worker.name for c in claims if c.worker),
        crews=_crews(claims),
        machine=", ".join(c.machine.name for c in claims if c.machine),
        planned=desk.span(assignment.starts_at, assignment.ends_at) if assignment else "",
        due=desk.moment(order.due_at),
        state=say_waiting(waits) or say_order_state(order),
        state_class="waiting" if waits else state_class(order),
        is_late=is_open(order) and order.due_at < desk.now,
        why=say_reasons(order, names),
        url=reverse("work-order", args=[desk.caller.site.slug, order.pk]),
        starts_at=assignment.starts_at if assignment else None,
        ends_at=assignment.ends_at if assignment else None,
    )


def _crews(claims: list[Claim]) -> str:
    crews = {c.worker.crew.name for c in claims if c.worker and c.worker.crew}
    return ", ".join(sorted(crews))


def is_open(order: WorkOrder) -> bool:
    """Whether a work order still asks for something."""
    return order.status in (Status.NEEDS_ACTION, Status.IN_PROCESS)
