"""The plan: how good it is, what it changed and whom to tell, what nobody has, its search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from crews.people.models import Worker
from equipment.machines.models import Machine
from equipment.site.calc.local_time import day_bounds, local_date_of
from schedules.dayplan.calc.diff import ChangeKind
from schedules.dayplan.models import DaySearch, PlanRun
from schedules.dayplan.queries import changes_since, plans_of_day, with_claims
from schedules.dayplan.searches import ASKED_S, is_alive, search_of
from schedules.work.models import Status, WorkOrder

from .base import Desk
from .orders import OrderLine, order_line
from .reasons import FarmNames, names_for
from .wording import say_said

N_PLANS = 20
N_TIGHT = 20
SURE = 0.9  # what is less sure to end in time is shown
N_LINES = 40  # changes shown at once, the soonest first
BACK_MIN = (15, 60, 240, 1440)  # how far back changes may be looked at [min]
USUAL_BACK_MIN = 60
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


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One plan of the day."""

    made: str
    took: str
    n_assigned: int
    n_unassigned: int
    n_changes: int


def plan_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: 20 queries besides the frame's, however much work there is."""
    back_min = _back_min(desk)
    plans = list(plans_of_day(desk.site_id, *_today(desk))[:N_PLANS])
    changes = changes_since(desk.site_id, desk.now - timedelta(minutes=back_min))
    search = search_of(desk.site_id)
    is_all = desk.request.GET.get("all") == "1"
    shown = changes if is_all else changes[:N_LINES]
    return {
        "finding": _finding(plans[0]) if plans else "",
        "figures": _figures(plans[0]) if plans else [],
        "lines": _change_lines(desk, shown),
        "n_more": len(changes) - len(shown),
        "back_min": back_min,
        "told": _told(desk, changes),
        "backs": [(n, _say_back(n), n == back_min) for n in BACK_MIN],
        "nobody": _nobody(desk),
        "tight": _tight(desk, plans[0]) if plans else [],
        "is_searching": is_alive(search, desk.now),
        "searching": _searching(search),
        "asked_s": int(ASKED_S),
        "plans": [_plan_line(desk, plan) for plan in plans],
    }


def _today(desk: Desk) -> tuple[datetime, datetime]:
    zone = desk.caller.site.zone
    return day_bounds(local_date_of(desk.now, zone), zone)


def _back_min(desk: Desk) -> int:
    """Read how far back; anything but one of the offered is the usual."""
    asked = desk.request.GET.get("back", "")
    return next((n for n in BACK_MIN if str(n) == asked), USUAL_BACK_MIN)


def _say_back(n_min: int) -> str:
    hours = n_min // 60
    if hours == 1:
        return _("the last hour")
    return _("the last %d hours") % hours if hours else _("the last %d minutes") % n_min


# How good it is ---------------------------------------------------------------------------------


def _finding(plan: PlanRun) -> str:
    has, nobody = plan.n_assigned, plan.n_unassigned
    said = [
        ngettext("%d job has somebody.", "%d jobs have somebody.", has) % has,
        ngettext("%d job has nobody.", "%d jobs have nobody.", nobody) % nobody,
    ]
    late_min = plan.score.get("late_min", 0)
    if late_min > 0:
        said.append(_("They have %.0f minutes less slack than the farm wants.") % late_min)
    return " ".join(said)


def _figures(plan: PlanRun) -> list[tuple[str, str]]:
    """What the plan costs, by cause; nothing of plans made before causes were kept."""
    score = plan.score
    if not score:
        return []
    total, bound = score["total_cost"], plan.bound_cost
    gap = 0.0 if total <= 0 else 100 * max(0.0, total - bound) / total
    return [
        (_("Walking and driving, hours"), f"{score['travel_min'] / 60:.1f}"),
        (_("Past the end of shifts, minutes"), f"{score['overtime_min']:.0f}"),
        (_("Slack that is missing, minutes"), f"{score['late_min']:.0f}"),
        (_("Not by their own crew, jobs"), f"{score['n_off_crew']}"),
        (_("Otherwise than planned before, jobs"), f"{score['n_changes']}"),
        (_("Cost in all, as minutes of walking"), f"{total:,.0f}"),
        (_("No plan of these facts costs less than"), f"{bound:,.0f}"),
        (_("At most so much dearer than the best plan, %"), f"{gap:.1f}"),
    ]


def _searching(search: DaySearch) -> str:
    said = _("Looking for a better plan: %(elapsed).0f of %(all).0f seconds.") % {
        "elapsed": search.elapsed_s,
        "all": search.left_s,
    }
    if search.is_to_stop:
        return said + " " + _("It stops in a moment; the best plan that it has stays.")
    return said


# What it changed --------------------------------------------------------------------------------


def _change_lines(desk: Desk, changes: Sequence[Mapping[str, Any]]) -> list[ChangeLine]:
    """Say each change: 4 queries."""
    orders = {
        order.pk: order
        for order in WorkOrder.objects.filter(
            site_id=desk.site_id, id__in=[change["work_order"] for change in changes]
        ).select_related("place__parent")
    }
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


def _told(desk: Desk, changes: Sequence[Mapping[str, Any]]) -> list[tuple[str, int]]:
    """Who must be told, with of how many jobs, the most first: 1 query."""
    counts = Counter(pk for change in changes for pk in change["workers"])
    names = dict(
        Worker.objects.filter(site_id=desk.site_id, pk__in=counts).values_list("pk", "name")
    )
    found = [(names[pk], n) for pk, n in counts.items() if pk in names]
    return sorted(found, key=lambda told: (-told[1], told[0]))


# What nobody has, and the plans -----------------------------------------------------------------


def _nobody(desk: Desk) -> list[OrderLine]:
    rows = WorkOrder.objects.filter(site_id=desk.site_id, unassigned__isnull=False)
    orders = list(
        with_claims(rows).select_related("place__parent").order_by("priority", "due_at", "id")
    )
    names = names_for(desk.site_id, orders)
    return [order_line(desk, order, [], names) for order in orders]


def _tight(desk: Desk, plan: PlanRun) -> list[tuple[OrderLine, str]]:
    """Give the open jobs that are least sure to end in time: 4 queries."""
    chances = {int(pk): chance for pk, chance in plan.chances.items() if chance < SURE}
    rows = WorkOrder.objects.filter(
        site_id=desk.site_id, pk__in=chances, status=Status.NEEDS_ACTION
    )
    orders = sorted(
        with_claims(rows).select_related("place__parent"),
        key=lambda order: (chances[order.pk], order.due_at, order.pk),
    )
    none = FarmNames({}, {})
    return [
        (order_line(desk, order, [], none), f"{100 * chances[order.pk]:.0f}%")
        for order in orders[:N_TIGHT]
        if not hasattr(order, "unassigned")
    ]


def _plan_line(desk: Desk, plan: PlanRun) -> PlanLine:
    return PlanLine(
        made=desk.moment(plan.made_at),
        took=_("%.1f s") % plan.took_s,
        n_assigned=plan.n_assigned,
        n_unassigned=plan.n_unassigned,
        n_changes=len(plan.changes),
    )
