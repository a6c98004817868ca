"""Today: what is behind, who is on it, will the cows be back before it is done?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Prefetch
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.barns.models import Pen
from equipment.flushing.queries import open_locks
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Place
from schedules.dayplan.queries import assignment_of, orders_between
from schedules.rounds.models import BedWindow, PenVisit
from schedules.rounds.queries import day_warnings
from schedules.work.models import Outcome, Status, WorkOrder
from schedules.work.queries import WaitReason, say_amount, waiting_reasons

from .base import Desk
from .charts import Chart, Span, TimeRow, draw_time_rows
from .wording import (
    say_decision,
    say_order_state,
    say_reason,
    say_said,
    say_waiting,
    say_warning,
    state_class,
)

LIST_BACK, LIST_AHEAD = timedelta(hours=2), timedelta(hours=4)


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One work order as a row of a list."""

    order: WorkOrder
    title: str
    amount: str
    place: str
    who: str
    machine: str
    planned: str
    due: str
    state: str
    state_class: str
    is_late: bool
    why: list[str]
    url: str


@dataclass
class TodayBoard:
    """All that the page shows."""

    local_date: date
    finding: str
    decisions: list[tuple[str, str, str]]
    chart: Chart
    lines: list[OrderLine]
    nobody: list[OrderLine]
    figures: list[tuple[str, str]]
    locks: list[dict[str, Any]]
    warnings: list[str]
    n_hidden: int = 0
    crews: list[str] = field(default_factory=list)


def today_board(desk: Desk, *, is_whole: bool = False) -> TodayBoard:
    """Put Today together: about 14 queries, however much work there is."""
    site = desk.caller.site
    local_date = local_date_of(desk.now, site.zone)
    start, end = day_bounds(local_date, site.zone)
    orders = list(orders_between(site.pk, start, end))
    visits = _visits(site.pk, start, end)
    waits = waiting_reasons(site.pk, [o.pk for o in orders if o.status == Status.NEEDS_ACTION])
    lines = [order_line(desk, order, waits.get(order.pk, [])) for order in orders]
    warnings = _warnings(desk, local_date)
    near = [line for line in lines if is_whole or _is_near(desk, line)]
    return TodayBoard(
        local_date=local_date,
        finding=_finding(desk, lines, visits),
        decisions=_decisions(desk, lines),
        chart=_pen_chart(desk, orders, visits, (start, end)),
        lines=near,
        nobody=[line for line in lines if _has_nobody(line)],
        figures=_figures(desk, lines),
        locks=_locks(desk),
        warnings=warnings,
        n_hidden=len(lines) - len(near),
    )


def _warnings(desk: Desk, local_date: date) -> list[str]:
    found = day_warnings(desk.site_id, local_date)
    ids = {int(key) for w in found for key in (w.pen_key, w.bed_group_key) if key}
    places = Place.objects.filter(site_id=desk.site_id, pk__in=ids)
    names = {str(place.pk): desk.place(place) for place in places}
    return [say_warning(w, names) for w in found]


def _visits(site_id: int, start: datetime, end: datetime) -> list[PenVisit]:
    windows = Prefetch("windows", queryset=BedWindow.objects.order_by("opens_at"))
    return list(
        PenVisit.objects.filter(site_id=site_id, last_back_at__gt=start, called_at__lt=end)
        .select_related("pen__place", "milking")
        .prefetch_related(windows)
        .order_by("called_at")
    )


def order_line(desk: Desk, order: WorkOrder, waits: list[WaitReason]) -> OrderLine:
    """Say one work order in a row."""
    assignment = assignment_of(order)
    claims = list(assignment.claims.all()) if assignment else []
    planned = (
        f"{desk.clock(assignment.starts_at)} – {desk.clock(assignment.ends_at)}"
        if assignment
        else ""
    )
    left_out = getattr(order, "unassigned", None)
    return OrderLine(
        order=order,
        title=say_said(order.title, desk.language),
        amount=say_amount(order),
        place=desk.place(order.place),
        who=", ".join(c.worker.name for c in claims if c.worker),
        machine=", ".join(c.machine.name for c in claims if c.machine),
        planned=planned,
        due=desk.clock(order.due_at),
        state=say_waiting(waits) or say_order_state(order),
        state_class="waiting" if waits else state_class(order),
        is_late=is_open(order) and order.due_at < desk.now,
        why=[say_reason(reason) for reason in left_out.reasons] if left_out else [],
        url=reverse("work-order", args=[desk.caller.site.slug, order.pk]),
    )


def is_open(order: WorkOrder) -> bool:
    """Whether a work order still asks for something."""
    return order.status in (Status.NEEDS_ACTION, Status.IN_PROCESS)


def _has_nobody(line: OrderLine) -> bool:
    return line.order.status == Status.NEEDS_ACTION and not line.who and not line.is_late


def _is_near(desk: Desk, line: OrderLine) -> bool:
    order = line.order
    if order.status == Status.IN_PROCESS or order.needs_decision:
        return True
    assignment = assignment_of(order)
    at = assignment.starts_at if assignment else order.due_at
    return desk.now - LIST_BACK <= at <= desk.now + LIST_AHEAD


def _finding(desk: Desk, lines: list[OrderLine], visits: list[PenVisit]) -> str:
    late = sum(line.is_late for line in lines)
    nobody = sum(_has_nobody(line) for line in lines)
    away = [v for v in visits if v.first_out_at <= desk.now < v.last_back_at]
    said = [
        ngettext("%d job is late.", "%d jobs are late.", late) % late,
        ngettext("%d job has nobody.", "%d jobs have nobody.", nobody) % nobody,
    ]
    if away:
        names = ", ".join(desk.place(v.pen.place) for v in away)
        said.append(_("Away now: %s.") % names)
    return " ".join(said)


def _decisions(desk: Desk, lines: list[OrderLine]) -> list[tuple[str, str, str]]:
    """At most three things that need a person: (what, why, address)."""
    asked = [line for line in lines if line.order.needs_decision]
    asked += [line for line in lines if _has_nobody(line) and line.order.priority <= 2 and line.why]
    asked.sort(key=lambda line: (line.order.due_at, line.order.priority))
    unique = {line.order.pk: line for line in asked}
    return [
        (
            f"{line.title} {line.place} · {_('due')} {line.due}",
            say_decision(line.order.needs_decision)
            if line.order.needs_decision
            else "; ".join(line.why[:1]),
            line.url,
        )
        for line in list(unique.values())[:3]
    ]


def _figures(desk: Desk, lines: list[OrderLine]) -> list[tuple[str, str]]:
    beds = [line for line in lines if line.order.place.kind == "bed_group"]
    past = [line for line in beds if line.order.due_at <= desk.now or not is_open(line.order)]
    done = [line for line in past if line.order.outcome == Outcome.DONE]
    n_open = sum(is_open(line.order) for line in lines)
    n_under_way = sum(line.order.status == Status.IN_PROCESS for line in lines)
    return [
        (_("Open"), f"{n_open:,}"),
        (_("Under way"), f"{n_under_way:,}"),
        (_("Late"), f"{sum(line.is_late for line in lines):,}"),
        (_("Nobody has it"), f"{sum(_has_nobody(line) for line in lines):,}"),
        (_("Beds done so far"), f"{len(done):,} / {len(past):,}"),
    ]


def _locks(desk: Desk) -> list[dict[str, Any]]:
    return [
        {
            "place": desk.place(lock.place),
            "owner": lock.owner.name,
            "what": lock.what,
            "hours": (desk.now - lock.on_at).total_seconds() / 3600,
        }
        for lock in open_locks(desk.site_id)
    ]


def _pen_chart(
    desk: Desk, orders: list[WorkOrder], visits: list[PenVisit], day: tuple[datetime, datetime]
) -> Chart:
    """Draw pens across the day: away time, windows of the beds, jobs on top."""
    pens = list(
        Pen.objects.filter(site_id=desk.site_id, place__retired_at=None)
        .select_related("place")
        .order_by("milking_rank")
    )
    spans: dict[int, list[Span]] = defaultdict(list)
    for visit in visits:
        spans[visit.pen_id] += _visit_spans(desk, visit)
    for order in orders:
        pen_id = order.place_id if order.place.kind == "pen" else order.place.parent_id
        if pen_id and order.place.kind in ("pen", "bed_group", "alley"):
            spans[pen_id] += _order_spans(desk, order)
    rows = [TimeRow(desk.place(pen.place), tuple(spans[pen.pk])) for pen in pens]
    start, end = day
    finding = _("When each pen is away (sand), its beds can be worked (blue), and the jobs in it.")
    svg = draw_time_rows(
        key="pens",
        rows=rows,
        start=start,
        end=end,
        now=desk.now,
        zone=desk.caller.site.zone,
        clock="%H" if desk.caller.site.clock_h == 24 else "%-I %p",
        title=_("Pens across the day"),
        desc=finding,
    )
    table = tuple(
        (
            desk.place(v.pen.place),
            str(v.milking.slot),
            desk.clock(v.first_out_at),
            desk.clock(v.last_out_at),
            desk.clock(v.first_back_at),
            desk.clock(v.last_back_at),
        )
        for v in visits
    )
    heads = (
        _("Pen"),
        _("Milking"),
        _("First out"),
        _("Last out"),
        _("First back"),
        _("Last back"),
    )
    return Chart("pens", finding, svg, heads, table)


def _visit_spans(desk: Desk, visit: PenVisit) -> list[Span]:
    name = desk.place(visit.pen.place)
    away = Span(
        visit.first_out_at,
        visit.last_back_at,
        "away",
        _("%(pen)s away %(start)s – %(end)s")
        % {
            "pen": name,
            "start": desk.clock(visit.first_out_at),
            "end": desk.clock(visit.last_back_at),
        },
    )
    windows = [w for w in visit.windows.all() if w.usable_until > w.usable_from]
    if not windows:
        return [away]
    first = min(w.usable_from for w in windows)
    last = max(w.usable_until for w in windows)
    words = _("Beds can be worked %(start)s – %(end)s") % {
        "start": desk.clock(first),
        "end": desk.clock(last),
    }
    return [away, Span(first, last, "window", words)]


def _order_spans(desk: Desk, order: WorkOrder) -> list[Span]:
    assignment = assignment_of(order)
    if assignment is None:
        return []
    kind = state_class(order)
    if is_open(order) and assignment.ends_at > order.due_at:
        kind = "late"
    words = f"{say_said(order.title, desk.language)} {desk.place(order.place)}"
    return [
        Span(
            assignment.starts_at,
            assignment.ends_at,
            f"job {kind}",
            words,
            reverse("work-order", args=[desk.caller.site.slug, order.pk]),
        )
    ]
