"""The plan: how good it is, what it changed and whom to tell, what nobody has, its search."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.calc.local_time import day_bounds, local_date_of
from schedules.dayplan.models import DaySearch, PlanRun
from schedules.dayplan.queries import changes_since, plans_of_day, with_claims
from schedules.dayplan.searches import ASKED_S, is_alive, search_of
from schedules.work.models import Status, WorkOrder

from .base import Desk
from .orders import OrderLine, order_line
from .plan_lines import change_lines, cost_lines, told_lines
from .reasons import FarmNames, names_for

N_PLANS = 20
N_TIGHT = 20
SURE = 0.9  # what is less sure to end in time is shown
N_LINES = 40  # changes shown at once, the soonest first
BACK_MIN = (15, 60, 240, 1440)  # how far back changes may be looked at [min]
USUAL_BACK_MIN = 60


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
        "lines": change_lines(desk, shown),
        "n_more": len(changes) - len(shown),
        "back_min": back_min,
        "told": told_lines(desk, changes),
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
        *cost_lines(score),
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
