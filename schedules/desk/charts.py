"""Charts drawn on the server as SVG: text is text, colours come from the style sheet.

Every chart is a `Chart`: a finding in words, the drawing, and the table that says the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from xml.sax.saxutils import escape, quoteattr
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString, mark_safe


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing with what it says."""

    key: str
    finding: str
    svg: SafeString
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    legend: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in a row: `kind` is a class of the style sheet."""

    start: datetime
    end: datetime
    kind: str
    title: str = ""
    url: str = ""


@dataclass(frozen=True, slots=True)
class TimeRow:
    """One row of a time chart, its spans drawn in the order given."""

    label: str
    spans: tuple[Span, ...]


PATTERN = 'width="6" height="6" patternUnits="userSpaceOnUse"'


class Drawing:
    """Collects SVG elements; every text is escaped here and nowhere else."""

    def __init__(self, key: str, width: float, height: float, title: str, desc: str) -> None:
        self.parts = [
            f'<svg class="drawn" role="img" aria-labelledby="{key}-t {key}-d" '
            f'viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}">'
            f'<title id="{key}-t">{escape(title)}</title>'
            f'<desc id="{key}-d">{escape(desc)}</desc>'
        ]

    def hatch(self) -> None:
        """Define hatching (late), lines (in part) and dots (away); once a page, as ids are its."""
        self.parts.append(
            "<defs>"
            f'<pattern id="hatch" {PATTERN} patternTransform="rotate(45)">'
            '<rect class="hatch-ground" width="6" height="6"/>'
            '<rect class="hatch-line" width="1.5" height="6"/></pattern>'
            f'<pattern id="part" {PATTERN}><rect class="part-ground" width="6" height="6"/>'
            '<rect class="part-line" width="6" height="2"/></pattern>'
            f'<pattern id="dotted" {PATTERN}><rect class="away-ground" width="6" height="6"/>'
            '<circle class="away-dot" cx="3" cy="3" r="1"/></pattern>'
            "</defs>"
        )

    def rect(
        self, box: tuple[float, float, float, float], kind: str, title: str = "", url: str = ""
    ) -> None:
        """Draw a box (x, y, width, height); a title says what it is, a click leads to `url`.

        An image holds no links (WAI-ARIA 1.2, role img: its children are presentational): those
        for the keyboard stand in the list below the drawing.
        """
        x, y, w, h = box
        inner = f"<title>{escape(title)}</title>" if title else ""
        leads = f" data-url={quoteattr(url)}" if url else ""
        self.parts.append(
            f'<rect class="{kind}" x="{x:.1f}" y="{y:.1f}" '
            f'width="{max(w, 1):.1f}" height="{h:.1f}"{leads}>{inner}</rect>'
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str = "grid") -> None:
        """Draw a straight line."""
        self.parts.append(
            f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'
        )

    def text(self, x: float, y: float, words: str, kind: str = "", anchor: str = "start") -> None:
        """Write words."""
        self.parts.append(
            f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">'
            f"{escape(words)}</text>"
        )

    def dot(self, x: float, y: float, r: float, title: str = "") -> None:
        """Draw one dot."""
        self.parts.append(
            f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="{r:g}">'
            f"<title>{escape(title)}</title></circle>"
        )

    def done(self) -> SafeString:
        """Close the drawing."""
        return mark_safe("".join([*self.parts, "</svg>"]))  # noqa: S308  every text is escaped above


LABEL_W = 90.0
HELD = "job late"  # the class of what must not go on as it is
ROW_H = 26.0
HEAD_H = 24.0


def draw_time_rows(
    *,
    key: str,
    rows: Sequence[TimeRow],
    start: datetime,
    end: datetime,
    now: datetime,
    zone: ZoneInfo,
    hour: Callable[[datetime], str],
    title: str,
    desc: str,
    width: float = 1190,
) -> SafeString:
    """Draw rows across time: windows below, jobs on top, a line for now.

    `hour` says a whole hour in the site's own habit.
    """
    height = HEAD_H + ROW_H * len(rows) + 6
    drawing = Drawing(key, width, height, title, desc)
    drawing.hatch()
    scale = (width - LABEL_W - 10) / (end - start).total_seconds()

    scale_x = TimeScale(start, end, LABEL_W, scale)
    draw_hours(drawing, scale_x, zone=zone, hour=hour, height=height)
    for index, row in enumerate(rows):
        y = HEAD_H + index * ROW_H
        drawing.line(0, y, width, y)
        drawing.text(4, y + 18, row.label)
        for span in row.spans:
            if span.end > start and span.start < end:
                _draw_span(drawing, span, y, scale_x(span.start), scale_x(span.end))
    if start <= now <= end:
        drawing.line(scale_x(now), HEAD_H - 6, scale_x(now), height, "now")
    return drawing.done()


@dataclass(frozen=True, slots=True)
class TimeScale:
    """Where an instant lies across a drawing; what is outside lies on its edge."""

    start: datetime
    end: datetime
    left: float
    per_s: float

    def __call__(self, at: datetime) -> float:
        """Give the x of an instant."""
        held = min(max(at, self.start), self.end)
        return self.left + (held - self.start).total_seconds() * self.per_s


def _draw_span(drawing: Drawing, span: Span, y: float, x1: float, x2: float) -> None:
    is_ground = span.kind in ("window", "away")
    top, tall = (y + 1, ROW_H - 2) if is_ground else (y + 6, ROW_H - 12)
    drawing.rect((x1, top, x2 - x1, tall), span.kind, span.title, span.url)


def draw_hours(
    drawing: Drawing,
    x_of: TimeScale,
    *,
    zone: ZoneInfo,
    hour: Callable[[datetime], str],
    height: float,
) -> None:
    """Mark whole local hours, every second one when they are narrow."""
    step = timedelta(hours=1 if (x_of.end - x_of.start) <= timedelta(hours=14) else 2)
    local = x_of.start.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    to_next = step - timedelta(hours=local.hour % (step // timedelta(hours=1)))
    at = local.astimezone(UTC) + to_next
    while at < x_of.end:
        drawing.line(x_of(at), HEAD_H - 4, x_of(at), height)
        drawing.text(x_of(at), 15, hour(at), "soft", "middle")
        at += step


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of a stacked bar: its words, its size, its class."""

    label: str
    size: float
    kind: str = "bar soft"
    url: str = ""


def draw_pipeline(
    *, key: str, stages: Sequence[tuple[str, Sequence[Block]]], title: str, desc: str, unit: str
) -> SafeString:
    """Draw stages below each other, each a bar of blocks as wide as they are heavy."""
    width, label_w, row = 1160.0, 150.0, 46.0
    largest = max((sum(b.size for b in blocks) for _n, blocks in stages), default=0) or 1
    scale = (width - label_w - 130) / largest
    drawing = Drawing(key, width, row * len(stages) + 8, title, desc)
    if any(block.kind == HELD for _n, blocks in stages for block in blocks):
        drawing.hatch()
    for index, (name, blocks) in enumerate(stages):
        y, x = index * row + 4, label_w
        drawing.text(4, y + 24, name)
        for block in blocks:
            wide = block.size * scale
            drawing.rect((x, y, max(wide - 2, 1), row - 12), block.kind, block.label, block.url)
            if wide > 9 * len(block.label) + 10:
                drawing.text(x + 6, y + 22, block.label, "on")
            x += wide
        total = sum(b.size for b in blocks)
        drawing.text(x + 8, y + 24, f"{total:,.0f} {unit}", "soft")
    return drawing.done()


@dataclass(frozen=True, slots=True)
class DotColumn:
    """A column of dots: two short lines below it, its full name, how many."""

    above: str
    below: str
    name: str
    n: int


def draw_dots(*, key: str, columns: Sequence[DotColumn], title: str, desc: str) -> SafeString:
    """Draw stacked dots over named columns: each dot one of so many equal chances."""
    step, r = 36.0, 6.0
    tallest = max((column.n for column in columns), default=1)
    height = 44 + tallest * (2 * r + 3)
    width = max(step * len(columns) + 8, 240)
    drawing = Drawing(key, width, height, title, desc)
    floor = height - 38
    drawing.line(0, floor, width, floor)
    for index, column in enumerate(columns):
        x = 4 + step * (index + 0.5)
        drawing.text(x, height - 22, column.above, "soft", "middle")
        drawing.text(x, height - 6, column.below, "soft", "middle")
        for k in range(column.n):
            drawing.dot(x, floor - r - 2 - k * (2 * r + 3), r, column.name)
    return drawing.done()
