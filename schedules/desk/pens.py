"""Pens: when each is away, what its way back costs the cows, whether its beds get their turn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from equipment.barns.models import Pen, ReturnMode
from equipment.parlor.models import Parlor
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Place
from schedules.dayplan.queries import assignment_of, orders_between
from schedules.rounds.calc.warn import DayWarning, WarningCode
from schedules.rounds.clock import site_parlor
from schedules.rounds.models import PenVisit
from schedules.rounds.parlor_reads import TimeAway, away_min, times_away
from schedules.rounds.queries import view_day, visits_between, warnings_of
from schedules.work.models import Outcome, WorkOrder

from .base import Desk
from .charts import Chart, Span, TimeRow, draw_time_rows
from .orders import is_open
from .parlor import parlor_context
from .water import lock_lines, lockable_places, water_of
from .wording import say_said, say_warnings, state_class

DayVisits = Sequence[PenVisit]


@dataclass(frozen=True, slots=True)
class PenLine:
    """One pen's local day."""

    pen: Pen
    name: str
    n_cows: int
    return_mode: str
    cost: str
    away: str
    is_over: bool
    away_day: str
    is_day_over: bool
    rows: str
    n_missed: int


def pens_of(site_id: int) -> list[Pen]:
    """Pens in use, in the order in which they go to the parlor: 1 query."""
    pens = Pen.objects.filter(site_id=site_id, place__retired_at=None)
    return list(pens.select_related("place").order_by("milking_rank", "pk"))


def _in_turn(pens: Iterable[Pen]) -> list[Pen]:
    """Give the same of pens that are at hand. No query."""
    in_use = (pen for pen in pens if pen.place.retired_at is None)
    return sorted(in_use, key=lambda pen: (pen.milking_rank, pen.pk))


def pens_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 22 queries."""
    site = desk.caller.site
    local_date = local_date_of(desk.now, site.zone)
    start, end = day_bounds(local_date, site.zone)
    visits = list(visits_between(site.pk, start, end))
    orders = list(orders_between(site.pk, start, end))
    limit, view = site_parlor(site.pk), view_day(site.pk, local_date)
    today = [v for v in visits if v.milking.local_date == local_date]
    pens = _in_turn(view.setup.pens.values()) if view else pens_of(site.pk)
    away = {found.pen_id: found for found in times_away(today, limit)}
    lines = [_line(desk, pen, today, orders, away.get(pen.pk)) for pen in pens]
    return parlor_context(desk, limit, view, pens) | {
        "finding": _finding(desk, today, limit),
        "lines": lines,
        "visit_heads": visit_heads(desk),
        "visits": visit_table(desk, today),
        "limit_min": limit.away_limit_min if limit else None,
        "day_limit_min": limit.away_day_limit_min if limit else None,
        "warnings": say_warnings(
            warnings_of(view, bed_work_min=bed_work_min(today, orders)), _names(desk, visits)
        ),
        "water": water_of(desk),
        "locks": lock_lines(desk),
        "lockable": lockable_places(desk),
    }


def bed_work_min(visits: DayVisits, orders: Iterable[WorkOrder]) -> dict[tuple[int, str], float]:
    """Longest open work order of each milking and place in the usable window. No query."""
    slots = {visit.pk: visit.milking.slot for visit in visits}
    found: dict[tuple[int, str], float] = defaultdict(float)
    for order in orders:
        rule = order.standing_order.trigger_rule if order.standing_order else {}
        slot = slots.get(order.visit_id or 0)
        if slot and is_open(order) and rule.get("within") == "usable":
            key = (slot, str(order.place_id))
            found[key] = max(found[key], order.duration_min)
    return found


def stored_warnings(desk: Desk, visits: DayVisits) -> list[str]:
    """Say what the clock wrote beside each visit when it was timed. No query."""
    found = [
        DayWarning(
            code=WarningCode(said["code"]),
            value_min=said["value_min"],
            limit_min=said["limit_min"],
            slot=visit.milking.slot,
            pen_key=str(visit.pen_id),
            bed_group_key=str(said["bed_group"]) if "bed_group" in said else None,
        )
        for visit in visits
        for said in visit.warnings
    ]
    return say_warnings(found, _names(desk, visits))


def _names(desk: Desk, visits: DayVisits) -> dict[str, str]:
    """Names of pens and rows of beds by their place's id as text. No query."""
    places: list[Place] = [v.pen.place for v in visits]
    places += [w.bed_group.place for v in visits for w in v.windows.all()]
    return {str(place.pk): desk.place(place) for place in places}


def _finding(desk: Desk, visits: DayVisits, limit: Parlor | None) -> str:
    if not visits:
        return _("No milking is planned today.")
    longest = max(visits, key=away_min)
    facts = {
        "pen": desk.place(longest.pen.place),
        "min": f"{away_min(longest):,.0f}",
        "limit": f"{limit.away_limit_min:,.0f}" if limit else "–",
        "cost": f"{sum(v.cost_cow_h for v in visits):,.0f}",
    }
    return (
        _("Longest away: %(pen)s, %(min)s min; the farm's limit is %(limit)s min.") % facts
        + " "
        + _("Waiting on the way back costs the cows %(cost)s cow hours today.") % facts
    )


def _line(
    desk: Desk,
    pen: Pen,
    visits: DayVisits,
    orders: Iterable[WorkOrder],
    away: TimeAway | None,
) -> PenLine:
    own = [v for v in visits if v.pen_id == pen.pk]
    ids = {v.pk for v in own}
    beds = [o for o in orders if o.visit_id in ids and o.place.kind == "bed_group"]
    past = [o for o in beds if not is_open(o) or o.due_at <= desk.now]
    done = [o for o in past if o.outcome == Outcome.DONE]
    return PenLine(
        pen=pen,
        name=desk.place(pen.place),
        n_cows=pen.n_cows,
        return_mode=str(ReturnMode(pen.return_mode).label),
        cost=f"{sum(v.cost_cow_h for v in own):,.1f}",
        away=f"{away.longest_min:,.0f}" if away else "–",
        is_over=away is not None and away.is_over,
        away_day=f"{away.day_min:,.0f}" if away else "–",
        is_day_over=away is not None and away.is_day_over,
        rows=_("%(done)d of %(past)d, %(all)d today")
        % {"done": len(done), "past": len(past), "all": len(beds)},
        n_missed=sum(o.n_left or 0 for o in beds if o.outcome == Outcome.MISSED),
    )


VisitRow = tuple[str, ...]


def visit_heads(desk: Desk) -> VisitRow:
    """Heads of the table of visits."""
    return (
        desk.noun("pen"),
        _("Milking"),
        _("Called"),
        _("Last cow out"),
        _("First cow back"),
        _("Last cow back"),
        _("Beds can be worked"),
        _("Away, min"),
        _("Cost, cow hours"),
    )


def visit_table(desk: Desk, visits: DayVisits) -> tuple[VisitRow, ...]:
    """Say each visit in a row, as the chart draws it. No query."""
    return tuple(
        (
            desk.place(v.pen.place),
            str(v.milking.slot),
            desk.moment(v.called_at),
            desk.clock(v.last_out_at),
            desk.clock(v.first_back_at),
            desk.clock(v.last_back_at),
            _usable_words(desk, v),
            f"{away_min(v):,.0f}",
            f"{v.cost_cow_h:,.1f}",
        )
        for v in visits
    )


def _usable(visit: PenVisit) -> tuple[datetime, datetime] | None:
    windows = [w for w in visit.windows.all() if w.usable_until > w.usable_from]
    if not windows:
        return None
    return min(w.usable_from for w in windows), max(w.usable_until for w in windows)


def _usable_words(desk: Desk, visit: PenVisit) -> str:
    usable = _usable(visit)
    return desk.span(*usable) if usable else "–"


def pen_chart(
    desk: Desk,
    pens: Sequence[Pen],
    orders: Iterable[WorkOrder],
    visits: DayVisits,
    span: tuple[datetime, datetime],
) -> Chart:
    """Draw pens across time: away time, windows of the beds, jobs on top."""
    spans: dict[int, list[Span]] = defaultdict(list)
    for visit in visits:
        spans[visit.pen_id] += _visit_spans(desk, visit)
    for order in orders:
        pen_id = order.place_id if order.place.kind == "pen" else order.place.parent_id
        if pen_id and order.place.kind in ("pen", "bed_group", "alley"):
            spans[pen_id] += _order_spans(desk, order)
    start, end = span
    rows = [TimeRow(desk.place(pen.place), tuple(spans[pen.pk])) for pen in pens]
    finding = _("%(pens)s: when away, when the beds can be worked, and the jobs.") % {
        "pens": desk.noun("pens")
    }
    svg = draw_time_rows(
        key="pens",
        rows=rows,
        start=start,
        end=end,
        now=desk.now,
        zone=desk.caller.site.zone,
        hour=desk.hour,
        title=_("%(pens)s across the day") % {"pens": desk.noun("pens")},
        desc=finding,
    )
    drawn = [v for v in visits if v.last_back_at > start and v.first_out_at < end]
    return Chart("pens", finding, svg, visit_heads(desk), visit_table(desk, drawn), _legend())


def _legend() -> tuple[tuple[str, str], ...]:
    return (
        ("away", _("cows away")),
        ("window", _("beds can be worked")),
        ("job", _("job to do")),
        ("job under-way", _("under way")),
        ("job done", _("done")),
        ("job late", _("ends too late, part done or not done")),
    )


def _visit_spans(desk: Desk, visit: PenVisit) -> list[Span]:
    name = desk.place(visit.pen.place)
    away = Span(
        visit.first_out_at,
        visit.last_back_at,
        "away",
        _("%(pen)s away %(span)s")
        % {"pen": name, "span": desk.span(visit.first_out_at, visit.last_back_at)},
    )
    usable = _usable(visit)
    if usable is None:
        return [away]
    words = _("%(pen)s: beds can be worked %(span)s") % {"pen": name, "span": desk.span(*usable)}
    return [away, Span(*usable, "window", words)]


def _order_spans(desk: Desk, order: WorkOrder) -> list[Span]:
    assignment = assignment_of(order)
    if assignment is None:
        return []
    kind = state_class(order)
    is_late = is_open(order) and max(assignment.ends_at, desk.now) > order.due_at
    kind = "late" if is_late or kind in ("part", "could-not") else kind
    words = f"{say_said(order.title, desk.language)} {desk.place(order.place)}"
    return [
        Span(
            assignment.starts_at,
            assignment.ends_at,
            f"job {kind}",
            f"{words}, {desk.span(assignment.starts_at, assignment.ends_at)}",
            reverse("work-order", args=[desk.caller.site.slug, order.pk]),
        )
    ]
