"""Need and have by day: a strip for each resource, its bars held against the line of the need."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from .charts import Drawing

WIDTH, LABEL_W, STRIP_H, HEAD_H, GAP = 1190.0, 170.0, 64.0, 24.0, 10.0
BAR_W = 46.0
LEAST_TALL = 3.0  # that nothing is there is to be seen too
MOST_FRAC = 1.5  # of the need; more is drawn as much


@dataclass(frozen=True, slots=True)
class Mark:
    """One resource on one day: shares and the words beside it; no `have_frac`, nothing is asked."""

    have_frac: float | None
    have: str
    need: str
    is_short: bool
    title: str
    url: str


@dataclass(frozen=True, slots=True)
class NeedStrip:
    """One resource: its name in one or two lines, its unit, a mark a day."""

    label: str
    unit: str
    marks: Sequence[Mark]


def draw_week(
    *, key: str, days: Sequence[str], strips: Sequence[NeedStrip], title: str, desc: str
) -> SafeString:
    """Draw each resource's strip below the other, the days from left to right."""
    height = HEAD_H + (STRIP_H + GAP) * len(strips) + 4
    drawing = Drawing(key, WIDTH, height, title, desc)
    drawing.hatch()
    step = (WIDTH - LABEL_W) / max(len(days), 1)
    for n, day in enumerate(days):
        drawing.text(LABEL_W + n * step + 6, 15, day, "soft")
    for index, strip in enumerate(strips):
        top = HEAD_H + index * (STRIP_H + GAP)
        drawing.line(0, top + STRIP_H, WIDTH, top + STRIP_H)
        for line, words in enumerate(_lines(strip.label)):
            drawing.text(4, top + 18 + 16 * line, words)
        drawing.text(4, top + STRIP_H - 6, strip.unit, "soft")
        for n, mark in enumerate(strip.marks):
            _draw_mark(drawing, mark, LABEL_W + n * step + 6, top, step - 14)
    return drawing.done()


def _draw_mark(drawing: Drawing, mark: Mark, x: float, top: float, wide: float) -> None:
    floor = top + STRIP_H
    if mark.have_frac is None:
        drawing.text(x, floor - 6, mark.have, "soft")
        return
    whole = STRIP_H / MOST_FRAC
    tall = max(whole * min(mark.have_frac, MOST_FRAC), LEAST_TALL)
    kind = "job late" if mark.is_short else "bar soft"
    drawing.rect((x, floor - tall, BAR_W, tall), kind, mark.title, mark.url)
    drawing.line(x - 4, floor - whole, x + wide, floor - whole, "limit")
    drawing.text(x + BAR_W + 6, floor - whole - 6, mark.need, "soft")
    drawing.text(x + BAR_W + 6, floor - 8, mark.have)


def _lines(label: str, most: int = 22) -> list[str]:
    """Break a long name in two at a space; what is longer still is cut, the table has it whole."""
    if len(label) <= most:
        return [label]
    at = label.rfind(" ", 0, most + 1)
    at = at if at > 0 else most
    rest = label[at:].strip()
    return [label[:at], rest if len(rest) <= most else f"{rest[: most - 1]}…"]
