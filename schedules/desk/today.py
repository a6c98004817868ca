"""Today: what is behind, who is on it, will the cows be back before it is done?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.attachments.models import Attachment, SubjectKind
from equipment.attachments.queries import attachments_of
from equipment.site.calc.local_time import day_bounds, local_date_of
from schedules.alerts.models import Alert
from schedules.alerts.queries import standing_alerts
from schedules.dayplan.queries import assignment_of, orders_between
from schedules.rounds.queries import visits_between
from schedules.work.models import Outcome, Problem, Status, WorkOrder
from schedules.work.queries import open_problems, say_decision, waiting_reasons

from .alert_words import say_alert, say_evidence
from .away import AwayCard, away_cards
from .base import Desk
from .charts import Chart
from .orders import OrderLine, is_open, order_line
from .pens import pen_chart, pens_of, stored_warnings
from .reasons import names_for
from .set_up_guide import Guide, guide_of
from .status import StatusLine, status_alarms
from .water import LockLine, Water, lock_lines, water_of

LIST_BACK, LIST_AHEAD = timedelta(hours=1), timedelta(hours=2)
CHART_BACK, CHART_AHEAD = timedelta(hours=3), timedelta(hours=9)
N_DECISIONS = 3


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing that needs a person."""

    what: str
    why: str
    url: str


@dataclass(frozen=True, slots=True)
class ProblemLine:
    """One problem nobody has answered, with its photos and voice notes."""

    problem: Problem
    place: str
    shown: list[Attachment]


@dataclass
class TodayBoard:
    """All that the page shows."""

    local_date: date
    finding: str
    away: list[AwayCard]
    decisions: list[Decision]
    n_decisions: int
    chart: Chart
    lines: list[OrderLine]
    nobody: list[OrderLine]
    figures: list[tuple[str, str]]
    problems: list[ProblemLine]
    locks: list[LockLine]
    water: Water
    warnings: list[str]
    alarms: list[StatusLine]
    guide: Guide | None = None
    n_hidden: int = 0


def today_board(desk: Desk, *, is_whole: bool = False) -> TodayBoard:
    """Put Today together: up to 25 queries besides the frame's, however much work there is."""
    site = desk.caller.site
    local_date = local_date_of(desk.now, site.zone)
    day = day_bounds(local_date, site.zone)
    shown = day if is_whole else (desk.now - CHART_BACK, desk.now + CHART_AHEAD)
    read = min(day[0], shown[0]), max(day[1], shown[1])
    orders = list(orders_between(site.pk, *read))
    visits = list(visits_between(site.pk, *read))
    listed = {o.pk for o in orders if is_whole or _is_near(desk, o)}
    to_do = [o.pk for o in orders if o.pk in listed and o.status == Status.NEEDS_ACTION]
    waits = waiting_reasons(site.pk, to_do)
    names = names_for(site.pk, orders)
    every = [order_line(desk, order, waits.get(order.pk, []), names) for order in orders]
    lines = [li for li in every if li.order.due_at > day[0] and li.order.starts_after < day[1]]
    near = [line for line in lines if line.order.pk in listed]
    asked = _decisions(desk, lines)
    return TodayBoard(
        local_date=local_date,
        finding=_finding(lines),
        away=away_cards(desk, visits, every),
        decisions=asked[:N_DECISIONS],
        n_decisions=len(asked),
        chart=pen_chart(desk, pens_of(site.pk), orders, visits, shown),
        lines=near,
        nobody=[line for line in lines if line.has_nobody],
        figures=_figures(desk, lines),
        problems=_problems(desk),
        locks=lock_lines(desk),
        water=water_of(desk),
        warnings=stored_warnings(desk, [v for v in visits if v.milking.local_date == local_date]),
        alarms=status_alarms(desk),
        guide=None if any(line.who for line in every) else guide_of(desk),
        n_hidden=len(lines) - len(near),
    )


def _problems(desk: Desk) -> list[ProblemLine]:
    problems = list(open_problems(desk.site_id))
    shown = attachments_of(desk.site_id, SubjectKind.PROBLEM, [p.pk for p in problems])
    return [
        ProblemLine(p, desk.place(p.place) if p.place else "", shown.get(p.pk, []))
        for p in problems
    ]


def _is_near(desk: Desk, order: WorkOrder) -> bool:
    if order.status == Status.IN_PROCESS or order.needs_decision:
        return True
    assignment = assignment_of(order)
    planned_at = assignment.starts_at if assignment else order.due_at
    at: datetime = order.ended_at or planned_at
    return desk.now - LIST_BACK <= at <= desk.now + LIST_AHEAD


def _finding(lines: list[OrderLine]) -> str:
    late = sum(line.is_late for line in lines)
    nobody = sum(line.has_nobody for line in lines)
    over = sum(is_open(line.order) and line.will_be_late and not line.is_late for line in lines)
    said = [
        ngettext("%d job is late.", "%d jobs are late.", late) % late,
        ngettext("%d job has nobody.", "%d jobs have nobody.", nobody) % nobody,
    ]
    if over:
        said.append(ngettext("%d job will end late.", "%d jobs will end late.", over) % over)
    return " ".join(said)


def _decisions(desk: Desk, lines: list[OrderLine]) -> list[Decision]:
    """What needs a person, soonest due first; work that a matter speaks of, decided or not, is not
    said again: 1 query.
    """
    matters = list(standing_alerts(desk.site_id))
    spoken_of = {pk for alert in matters for pk in alert.facts.get("nobody", ())}
    found = [(one.due_at, _of_alert(desk, one)) for one in matters if one.decided_at is None]
    found += [
        (line.order.due_at, one) for line, one in _of_work(lines) if line.order.pk not in spoken_of
    ]
    return [one for _due, one in sorted(found, key=lambda pair: pair[0])]


def _of_alert(desk: Desk, alert: Alert) -> Decision:
    url = reverse("alerts", args=[desk.caller.site.slug])
    why = " ".join(say_evidence(desk, alert))
    return Decision(say_alert(desk, alert), why, f"{url}#alert-{alert.pk}")


def _of_work(lines: list[OrderLine]) -> list[tuple[OrderLine, Decision]]:
    asked = [
        line
        for line in lines
        if line.order.needs_decision or (line.has_nobody and line.order.priority <= 2 and line.why)
    ]
    asked.sort(key=lambda line: (line.order.due_at, line.order.priority, line.order.pk))
    return [(line, _of_order(line)) for line in asked]


def _of_order(line: OrderLine) -> Decision:
    return Decision(
        what=_("%(job)s, due %(due)s") % {"job": line.name, "due": line.due},
        why=say_decision(line.order.needs_decision)
        if line.order.needs_decision
        else _("Nobody has it: %s.") % line.why[0],
        url=line.url,
    )


def _figures(desk: Desk, lines: list[OrderLine]) -> list[tuple[str, str]]:
    beds = [line for line in lines if line.is_bed_work]
    past = [line for line in beds if line.order.due_at <= desk.now or not is_open(line.order)]
    done = sum(line.order.outcome == Outcome.DONE for line in past)
    n_open = sum(is_open(line.order) for line in lines)
    n_under_way = sum(line.order.status == Status.IN_PROCESS for line in lines)
    counted = {"done": f"{done:,}", "past": f"{len(past):,}"}
    beds_words = _("%(done)s of %(past)s") % counted if past else _("none due yet")
    return [
        (_("Late"), f"{sum(line.is_late for line in lines):,}"),
        (_("Nobody has it"), f"{sum(line.has_nobody for line in lines):,}"),
        (_("Under way"), f"{n_under_way:,}"),
        (_("Open today"), f"{n_open:,}"),
        (_("Rows of beds done so far"), beds_words),
    ]
