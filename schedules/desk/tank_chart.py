"""Draws a flush tank's level over the coming day: a drop at each run, a climb between."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.flushing.calc import TankStep
from equipment.flushing.queries import TankPlan

from .base import Desk
from .charts import HEAD_H, LABEL_W, Chart, Drawing, TimeScale, draw_hours

WIDTH, TALL = 1190.0, 120.0
Point = tuple[datetime, float]


def tank_chart(desk: Desk, plan: TankPlan, start: datetime, end: datetime) -> Chart:
    """Draw one tank with its capacity, and say the run that starves first."""
    key, name = f"tank-{plan.tank.pk}", desk.place(plan.tank.place)
    finding = _finding(desk, plan, name)
    scale = TimeScale(start, end, LABEL_W, (WIDTH - LABEL_W - 10) / (end - start).total_seconds())
    drawing = Drawing(key, WIDTH, HEAD_H + TALL + 8, name, finding)
    draw_hours(drawing, scale, zone=desk.caller.site.zone, hour=desk.hour, height=HEAD_H + TALL + 4)
    _draw_frame(desk, drawing, plan)
    points = list(_points(plan, start, end))
    for (at, level_m3), (then, next_m3) in pairwise(points):
        ends = (_y(plan, level_m3), _y(plan, next_m3))
        drawing.line(scale(at), ends[0], scale(then), ends[1], "level")
    heads = (_("When"), _("Before"), _("After"), _("Lacks"))
    rows = tuple(_row(desk, step) for step in plan.day.steps)
    return Chart(key, finding, drawing.done(), heads, rows)


def _finding(desk: Desk, plan: TankPlan, name: str) -> str:
    starved = plan.day.first_starved
    if starved is None:
        lowest_m3 = min((step.after_m3 for step in plan.day.steps), default=plan.day.end_m3)
        low = desk.amount(lowest_m3, "level_m3", "gal")
        n = len(plan.day.steps)
        if n == 0:
            words = _("%(tank)s: no run is planned in the next 24 h; its level ends at %(low)s.")
            return words % {"tank": name, "low": low}
        words = ngettext(
            "%(tank)s: %(n)d run in the next 24 h gets its water; the lowest level is %(low)s.",
            "%(tank)s: all %(n)d runs of the next 24 h get their water; the lowest level is "
            "%(low)s.",
            n,
        )
        return words % {"tank": name, "n": n, "low": low}
    words = _("%(tank)s: the run %(run)s at %(at)s will lack %(short)s.")
    return words % {
        "tank": name,
        "run": plan.names.get(starved.run_key, ""),
        "at": desk.moment(starved.at),
        "short": desk.amount(starved.short_m3, "short_m3", "gal"),
    }


def _row(desk: Desk, step: TankStep) -> tuple[str, ...]:
    before, after, short = (
        desk.amount(value, "level_m3", "gal")
        for value in (step.before_m3, step.after_m3, step.short_m3)
    )
    return desk.moment(step.at), before, after, short if step.short_m3 > 0 else "–"


def _y(plan: TankPlan, level_m3: float) -> float:
    return HEAD_H + TALL * (1 - level_m3 / plan.tank.volume_m3)


def _draw_frame(desk: Desk, drawing: Drawing, plan: TankPlan) -> None:
    for level_m3, kind in ((plan.tank.volume_m3, "limit"), (0.0, "grid")):
        y = _y(plan, level_m3)
        drawing.line(LABEL_W, y, WIDTH - 10, y, kind)
        drawing.text(4, y + (12 if level_m3 else 0), desk.amount(level_m3, "level_m3", "gal"))


def _points(plan: TankPlan, start: datetime, end: datetime) -> Iterator[Point]:
    """Corners of the level: it climbs at the pumps' rate until full, and drops at each run."""
    at, level_m3 = start, plan.start_m3
    yield at, level_m3
    stops = [(step.at, step.after_m3) for step in plan.day.steps] + [(end, None)]
    for then, after_m3 in stops:
        full_at = at + timedelta(hours=(plan.tank.volume_m3 - level_m3) / plan.tank.refill_m3_h)
        if full_at < then:
            yield full_at, plan.tank.volume_m3
        before_m3 = min(
            plan.tank.volume_m3,
            level_m3 + plan.tank.refill_m3_h * ((then - at) / timedelta(hours=1)),
        )
        yield then, before_m3
        if after_m3 is not None:
            yield then, after_m3
            at, level_m3 = then, after_m3
