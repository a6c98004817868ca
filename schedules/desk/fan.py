"""Amounts over the time ahead: a strip each, bands against its line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from .charts import Drawing

WIDTH, LABEL_W, STRIP_H, HEAD_H, GAP = 1190.0, 150.0, 74.0, 24.0, 10.0


@dataclass(frozen=True, slots=True)
class Strip:
    """One basin, or one stock: its amount now, bands of (low, middle, high), its line and its top.

    All are of one unit.
    """

    label: str
    level: str
    now: float
    bands: Sequence[tuple[float, float, float]]
    line: float
    top: float


def draw_fan(
    *, key: str, strips: Sequence[Strip], times: Sequence[str], title: str, desc: str
) -> SafeString:
    """Draw each strip: the amount now at its left, the weeks or days ahead to the right."""
    height = HEAD_H + (STRIP_H + GAP) * max(len(strips), 1)
    drawing = Drawing(key, WIDTH, height, title, desc)
    step = (WIDTH - LABEL_W - 10) / max(len(times), 1)
    for index, words in enumerate(times):
        if words:
            drawing.text(LABEL_W + index * step, 15, words, "soft")
    for index, strip in enumerate(strips):
        _draw_strip(drawing, strip, HEAD_H + index * (STRIP_H + GAP), step)
    return drawing.done()


def _draw_strip(drawing: Drawing, strip: Strip, top: float, step: float) -> None:
    def y_of(amount: float) -> float:
        return top + STRIP_H * (1 - min(amount / strip.top, 1.0))

    right = WIDTH - 10
    drawing.text(4, top + 20, strip.label)
    drawing.text(4, top + 40, strip.level, "soft")
    drawing.line(LABEL_W, top, right, top)
    drawing.line(LABEL_W, top + STRIP_H, right, top + STRIP_H)
    drawing.rect((LABEL_W - 14, y_of(strip.now), 10, top + STRIP_H - y_of(strip.now)), "bar")
    for index, (low, middle, high) in enumerate(strip.bands):
        x = LABEL_W + index * step
        drawing.rect((x, y_of(high), step - 2, y_of(low) - y_of(high)), "bar soft")
        drawing.rect((x, y_of(middle) - 1, step - 2, 2), "bar")
    drawing.line(LABEL_W, y_of(strip.line), right, y_of(strip.line), "limit")
