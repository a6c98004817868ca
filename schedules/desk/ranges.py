"""Ranges of days: a bar from early to late with a mark where it is likely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import shorten

from django.utils.safestring import SafeString

from .charts import Drawing

WIDTH, LABEL_W, WORDS_W, ROW_H, HEAD_H = 1190.0, 150.0, 420.0, 26.0, 24.0
BAR_WORDS = 62  # as many as fit beside a bar; the table has them whole


@dataclass(frozen=True, slots=True)
class RangeBar:
    """Days from today, early to late; no late day where none is in sight."""

    label: str
    low: float
    likely: float
    high: float | None
    words: str


def draw_ranges(*, key: str, bars: Sequence[RangeBar], title: str, desc: str) -> SafeString:
    """Draw a bar a row on one scale of days, up to the latest that is in sight."""
    drawing = Drawing(key, WIDTH, HEAD_H + ROW_H * max(len(bars), 1) + 6, title, desc)
    latest = max((max(bar.high or 0.0, bar.likely) for bar in bars), default=0.0)
    span_d = max(latest, 7.0) * 1.05
    per_d = (WIDTH - LABEL_W - WORDS_W) / span_d
    for day in range(0, int(span_d) + 1, _step_d(span_d)):
        x = LABEL_W + day * per_d
        drawing.line(x, HEAD_H - 4, x, HEAD_H + ROW_H * len(bars))
        drawing.text(x, 15, f"{day} d", "soft", "middle")
    for index, bar in enumerate(bars):
        _draw_bar(drawing, bar, HEAD_H + index * ROW_H, (per_d, span_d))
    return drawing.done()


def _step_d(span_d: float) -> int:
    return next((step for step in (1, 7, 14, 28, 56) if span_d / step <= 10), 182)


def _draw_bar(drawing: Drawing, bar: RangeBar, top: float, scale: tuple[float, float]) -> None:
    per_d, span_d = scale
    high = span_d if bar.high is None else bar.high
    left, right = LABEL_W + bar.low * per_d, LABEL_W + high * per_d
    drawing.text(4, top + 17, bar.label)
    drawing.rect((left, top + 5, max(right - left, 2.0), ROW_H - 10), "bar soft", bar.words)
    at = LABEL_W + bar.likely * per_d
    drawing.rect((at - 1.5, top + 2, 3.0, ROW_H - 4), "bar")
    words = shorten(bar.words, BAR_WORDS, placeholder="…")
    drawing.text(LABEL_W + (WIDTH - LABEL_W - WORDS_W) + 8, top + 17, words)
