"""The fan of the coming days: a band with its likely middle, growing day by day."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString

from .charts import Drawing

STEP, LEFT, TOP, TALL = 150.0, 20.0, 24.0, 150.0


def draw_fan(
    *,
    key: str,
    days: Sequence[str],
    likely_mm: Sequence[float],
    range_mm: Sequence[tuple[float, float]],
    said: Sequence[str],
    title: str,
    desc: str,
) -> SafeString:
    """Draw a band a day from low to high, and a line for the likely amount, with its words."""
    drawing = Drawing(key, LEFT + STEP * len(days) + 10, TOP + TALL + 28, title, desc)
    most_mm = max((high for _low, high in range_mm), default=0.0) or 1.0
    floor = TOP + TALL

    def y_of(mm: float) -> float:
        return floor - TALL * mm / most_mm

    drawing.line(LEFT, floor, LEFT + STEP * len(days), floor)
    for index, (low, high) in enumerate(range_mm):
        x = LEFT + STEP * index
        drawing.rect((x + 10, y_of(high), STEP - 20, y_of(low) - y_of(high)), "window", said[index])
        middle = y_of(likely_mm[index])
        drawing.line(x + 10, middle, x + STEP - 10, middle, "level")
        drawing.text(x + STEP / 2, y_of(high) - 6, said[index], "soft", "middle")
        drawing.text(x + STEP / 2, floor + 18, days[index], "", "middle")
    return drawing.done()
