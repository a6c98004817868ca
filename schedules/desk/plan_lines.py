"""What two plans give otherwise, in lines: the changes, whom to tell, what each plan costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from crews.people.models import Worker
from equipment.machines.models import Machine
from schedules.dayplan.calc.diff import ChangeKind
from schedules.work.models import WorkOrder

from .base import Desk
from .wording import say_said

KINDS = {
    ChangeKind.ADDED: gettext_lazy("new in the plan"),
    ChangeKind.REMOVED: gettext_lazy("nobody has it any more"),
    ChangeKind.REASSIGNED: gettext_lazy("given to others"),
    ChangeKind.MACHINE_CHANGED: gettext_lazy("another machine"),
    ChangeKind.MOVED: gettext_lazy("another time"),
}


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One job that the plan gives otherwise than before."""

    job: str
    url_id: int
    kind: str
    before: str
    after: str
    tell: str


def change_lines(
    desk: Desk,
    changes: Sequence[Mapping[str, Any]],
    orders: Mapping[int, WorkOrder] | None = None,
) -> list[ChangeLine]:
    """Say each change: 3 queries, 2 where the work orders are at hand."""
    if orders is None:
        orders = _orders_of(desk, changes)
    people = dict(Worker.objects.filter(site_id=desk.site_id).values_list("pk", "name"))
    machines = dict(Machine.objects.filter(site_id=desk.site_id).values_list("pk", "name"))

    def say(given: Mapping[str, Any] | None) -> str:
        if given is None:
            return _("nobody")
        names = [people.get(pk, "") for pk in given["workers"]]
        names += [machines.get(given["machine"], "")] if given["machine"] else []
        start, end = (datetime.fromisoformat(given[key]) for key in ("starts_at", "ends_at"))
        return f"{', '.join(names)} · {desk.span(start, end)}"

    return [
        ChangeLine(
            job=f"{say_said(order.title, desk.language)} {desk.place(order.place)}",
            url_id=order.pk,
            kind=str(KINDS[ChangeKind(change["kind"])]),
            before=say(change["before"]),
            after=say(change["after"]),
            tell=", ".join(people.get(pk, "") for pk in change["workers"]),
        )
        for change in changes
        if (order := orders.get(change["work_order"])) is not None
    ]


def _orders_of(desk: Desk, changes: Sequence[Mapping[str, Any]]) -> dict[int, WorkOrder]:
    rows = WorkOrder.objects.filter(
        site_id=desk.site_id, id__in=[change["work_order"] for change in changes]
    )
    return {order.pk: order for order in rows.select_related("place__parent")}


def told_lines(desk: Desk, changes: Sequence[Mapping[str, Any]]) -> list[tuple[str, int]]:
    """Who must be told, with of how many jobs, the most first: 1 query."""
    counts = Counter(pk for change in changes for pk in change["workers"])
    names = dict(
        Worker.objects.filter(site_id=desk.site_id, pk__in=counts).values_list("pk", "name")
    )
    found = [(names[pk], n) for pk, n in counts.items() if pk in names]
    return sorted(found, key=lambda told: (-told[1], told[0]))


def cost_lines(score: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Say what a plan costs, by cause."""
    return [
        (_("Walking and driving, hours"), f"{score['travel_min'] / 60:.1f}"),
        (_("Past the end of shifts, minutes"), f"{score['overtime_min']:.0f}"),
        (_("Slack that is missing, minutes"), f"{score['late_min']:.0f}"),
        (_("Not by their own crew, jobs"), f"{score['n_off_crew']}"),
    ]
