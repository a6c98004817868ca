"""Levels over the months ahead: one strip a basin, bands by the week against its line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from .charts import Drawing

WIDTH, LABEL_W, STRIP_H, HEAD_H, GAP = 1190.0, 150.0, 74.0, 24.0, 10.0


@dataclass(frozen=True, slots=True)
class Strip:
    """One basin: bands of (low, middle, high) depth by the week, its line and rim [m]."""

    label: str
    level: str
    now_m: float
    bands_m: Sequence[tuple[float, float, float]]
    line_m: float
    rim_m: float


def draw_fan(
    *, key: str, strips: Sequence[Strip], weeks: Sequence[str], title: str, desc: str
) -> SafeString:
    """Draw a strip a basin: the level now at its left, weeks ahead to the right."""
    height = HEAD_H + (STRIP_H + GAP) * max(len(strips), 1)
    drawing = Drawing(key, WIDTH, height, title, desc)
    step = (WIDTH - LABEL_W - 10) / max(len(weeks), 1)
    for week, words in enumerate(weeks):
        if words:
            drawing.text(LABEL_W + week * step, 15, words, "soft")
    for index, strip in enumerate(strips):
        _draw_strip(drawing, strip, HEAD_H + index * (STRIP_H + GAP), step)
    return drawing.done()


def _draw_strip(drawing: Drawing, strip: Strip, top: float, step: float) -> None:
    def y_of(depth_m: float) -> float:
        return top + STRIP_H * (1 - min(depth_m / strip.rim_m, 1.0))

    right = WIDTH - 10
    drawing.text(4, top + 20, strip.label)
    drawing.text(4, top + 40, strip.level, "soft")
    drawing.line(LABEL_W, top, right, top)
    drawing.line(LABEL_W, top + STRIP_H, right, top + STRIP_H)
    drawing.rect((LABEL_W - 14, y_of(strip.now_m), 10, top + STRIP_H - y_of(strip.now_m)), "bar")
    for week, (low_m, middle_m, high_m) in enumerate(strip.bands_m):
        x = LABEL_W + week * step
        drawing.rect((x, y_of(high_m), step - 2, y_of(low_m) - y_of(high_m)), "bar soft")
        drawing.rect((x, y_of(middle_m) - 1, step - 2, 2), "bar")
    drawing.line(LABEL_W, y_of(strip.line_m), right, y_of(strip.line_m), "limit")
