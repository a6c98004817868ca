"""Draws the cows in the holding area over the day against the room that it has."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from itertools import pairwise

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from schedules.rounds.parlor_reads import HoldingDay, PenInHolding

from .base import Desk
from .charts import HEAD_H, LABEL_W, Chart, Drawing, TimeScale, draw_hours

WIDTH, TALL = 1190.0, 110.0
KEY = "holding"


def holding_chart(desk: Desk, day: HoldingDay, names: Mapping[str, str]) -> Chart:
    """Draw the load, name the pens that overfill the area, and say the same in a table."""
    finding = _finding(desk, day, names)
    room = (_("Room a cow"), _("Against what the farm wants"))
    heads = (desk.noun("pen"), _("Milking"), _("Most cows at once"), *room)
    rows = tuple(_row(desk, pen, names) for pen in day.pens)
    return Chart(KEY, finding, _draw(desk, day, finding), heads, rows)


def _finding(desk: Desk, day: HoldingDay, names: Mapping[str, str]) -> str:
    worst = max(day.pens, key=lambda pen: round(pen.peak_cows))
    facts = {
        "n": f"{worst.peak_cows:,.0f}",
        "pen": names.get(str(worst.pen_id), ""),
        "slot": worst.slot,
        "limit": _area(desk, day.limit_m2_cow),
        "room": _area(desk, worst.m2_cow),
    }
    if day.area_m2 is None:
        words = _(
            "Holding area: at most %(n)s cows at once (%(pen)s, milking %(slot)s). The farm file "
            "does not say how large it is (holding_area_m2)."
        )
        return words % facts
    words = _(
        "Holding area: at most %(n)s cows at once (%(pen)s, milking %(slot)s), %(room)s for each; "
        "the farm wants %(limit)s."
    )
    over = list(dict.fromkeys(names.get(str(p.pen_id), "") for p in day.pens if p.is_over))
    if not over:
        return words % facts
    call = _("Too full while these are in it: %s. Bring them in two parts, or call them later.")
    return words % facts + " " + call % ", ".join(over)


def _area(desk: Desk, m2: float | None) -> str:
    return "–" if m2 is None else desk.amount(m2, "holding_m2", digits=1)


def _row(desk: Desk, pen: PenInHolding, names: Mapping[str, str]) -> tuple[str, ...]:
    return (
        names.get(str(pen.pen_id), ""),
        str(pen.slot),
        f"{pen.peak_cows:,.0f}",
        _area(desk, pen.m2_cow),
        "–" if pen.m2_cow is None else _("too full") if pen.is_over else _("room enough"),
    )


def _draw(desk: Desk, day: HoldingDay, finding: str) -> SafeString:
    start, end = _span(day)
    most = max(1.0, day.room_for or 0.0, *(n for _at, n in day.load))
    scale = TimeScale(start, end, LABEL_W, (WIDTH - LABEL_W - 10) / (end - start).total_seconds())
    drawing = Drawing(KEY, WIDTH, HEAD_H + TALL + 8, _("Cows in the holding area"), finding)
    draw_hours(drawing, scale, zone=desk.caller.site.zone, hour=desk.hour, height=HEAD_H + TALL + 4)

    def y_of(n_cows: float) -> float:
        return HEAD_H + TALL * (1 - n_cows / most)

    marks = [(most if day.room_for is None else day.room_for, "limit"), (0.0, "grid")]
    for n_cows, kind in marks:
        if kind == "grid" or day.room_for is not None:
            drawing.line(LABEL_W, y_of(n_cows), WIDTH - 10, y_of(n_cows), kind)
        drawing.text(4, y_of(n_cows) + (12 if n_cows else 0), f"{n_cows:,.0f}")
    for (at, n_cows), (then, next_n) in pairwise(day.load):
        drawing.line(scale(at), y_of(n_cows), scale(then), y_of(next_n), "level")
    return drawing.done()


def _span(day: HoldingDay) -> tuple[datetime, datetime]:
    return day.load[0][0], day.load[-1][0]
