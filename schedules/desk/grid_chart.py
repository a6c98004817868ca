"""Small multiples in a grid: a row a pen, a column a week, bars on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from .charts import Drawing

WIDTH, LABEL_W, ROW_H, HEAD_H = 1190.0, 130.0, 28.0, 24.0
WORDS_W = 72.0  # beside each bar


@dataclass(frozen=True, slots=True)
class Cell:
    """A stacked bar: (size, class of the style sheet) from left to right, its words, its title."""

    parts: Sequence[tuple[float, str]]
    words: str
    title: str


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row: its name, a cell a column."""

    label: str
    cells: Sequence[Cell]


def draw_grid(
    *,
    key: str,
    columns: Sequence[str],
    rows: Sequence[GridRow],
    title: str,
    desc: str,
    has_hatch: bool = False,
) -> SafeString:
    """Draw the rows below each other; the largest bar of all fills its column."""
    drawing = Drawing(key, WIDTH, HEAD_H + ROW_H * len(rows) + 4, title, desc)
    if has_hatch:
        drawing.hatch()
    step = (WIDTH - LABEL_W) / max(len(columns), 1)
    sizes = [sum(size for size, _kind in cell.parts) for row in rows for cell in row.cells]
    scale = (step - WORDS_W - 10) / (max(sizes, default=0.0) or 1.0)
    for n, words in enumerate(columns):
        drawing.text(LABEL_W + n * step, 15, words, "soft")
    for index, row in enumerate(rows):
        top = HEAD_H + index * ROW_H
        drawing.line(0, top, WIDTH, top)
        drawing.text(4, top + 19, row.label)
        for n, cell in enumerate(row.cells):
            _draw_cell(drawing, cell, LABEL_W + n * step, top, scale)
    return drawing.done()


def _draw_cell(drawing: Drawing, cell: Cell, x: float, top: float, scale: float) -> None:
    for size, kind in cell.parts:
        if size > 0:
            drawing.rect((x, top + 5, size * scale, ROW_H - 10), kind, cell.title)
            x += size * scale
    drawing.text(x + 5, top + 19, cell.words, "soft")
