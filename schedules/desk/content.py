"""What done work takes, beside what its standing order says; a lead takes the number over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from schedules.work.calc.content import Learned
from schedules.work.work_content import (
    LEAST_JOBS,
    MOST_JOBS,
    RECORD,
    LoadContent,
    OrderContent,
    WhyNot,
    rounded,
    work_content,
)

from .base import Desk
from .charts import Chart, Drawing
from .wording import say_said

# What a list says of each part of a duration's formula.
SAID = {
    "base_min": gettext_lazy("%s min"),
    "per_stall_min": gettext_lazy("%s min a stall"),
    "per_m_min": gettext_lazy("%s min a meter of alley"),
    "per_m2_min": gettext_lazy("%s min a square meter of bay"),
    "per_t_min": gettext_lazy("%s min a metric ton"),
    "per_cow_min": gettext_lazy("%s min a cow"),
}
WHY_NOT: dict[WhyNot, str | Promise] = {
    WhyNot.FROM_SERVICE: gettext_lazy("The service itself says how long it takes"),
    WhyNot.GIVEN_TIME: gettext_lazy("It lasts as long as cows or water take"),
    WhyNot.SEVERAL_RATES: gettext_lazy("Two rates cannot be told apart by one record"),
    WhyNot.NO_DEFAULT: gettext_lazy("Its standing order has no minutes to begin with"),
    WhyNot.FEW_JOBS: gettext_lazy("Too few jobs on record"),
    WhyNot.BASE_TOO_LONG: gettext_lazy(
        "Most jobs were over before the minutes of each time were: look at those first"
    ),
}
WIDTH, LABEL_W, ROW_H, HEAD_H = 1190.0, 330.0, 26.0, 24.0
MOST_TIMES = 4.0  # a range that goes farther is cut at the edge; the table has it whole


@dataclass(frozen=True, slots=True)
class ContentLine:
    """One standing order with a number that done work taught."""

    content: OrderContent
    title: str
    said: str
    learned: str
    jobs: str
    spread: str
    error: str
    weight: str
    machines: list[str]
    left_out: str


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Loads an hour of one machine at one kind of work."""

    title: str
    machine: str
    begun_with: str
    learned: str
    jobs: str
    spread: str
    error: str
    weight: str


def content_context(desk: Desk) -> dict[str, Any]:
    """What is learned, what is not and why: 8 queries."""
    found = work_content(desk.site_id, desk.now)
    lines = [_line(desk, each, each.learned) for each in found.orders if each.learned]
    return {
        "contents": lines,
        "content_chart": _chart(lines) if lines else None,
        "loads": [_load_line(desk, each) for each in found.loads],
        "not_learned": _not_learned(desk, found.orders),
        "least_jobs": LEAST_JOBS,
        "most_jobs": MOST_JOBS,
        "record_d": RECORD.days,
    }


def _line(desk: Desk, content: OrderContent, learned: Learned) -> ContentLine:
    unit, n_out = SAID[content.key], content.n_left_out
    return ContentLine(
        content=content,
        title=say_said(content.order.title, desk.language),
        said=str(unit) % f"{learned.default:g}",
        learned=str(unit) % _figure(learned.value),
        **_certainty(learned),
        machines=[
            _("%(machine)s: %(value)s (%(n)d jobs)")
            % {
                "machine": each.machine.name,
                "value": _figure(each.learned.value),
                "n": each.learned.n_jobs,
            }
            for each in content.machines
        ],
        left_out=ngettext("%d was over too soon to tell", "%d were over too soon to tell", n_out)
        % n_out
        if n_out
        else "",
    )


def _load_line(desk: Desk, content: LoadContent) -> LoadLine:
    words = _("reckoned: %s") if content.is_reckoned else _("mean of its kind: %s")
    return LoadLine(
        title=say_said(content.order.title, desk.language),
        machine=content.machine.name,
        begun_with=words % _figure(content.learned.default),
        learned=_figure(content.learned.value),
        **_certainty(content.learned),
    )


def _figure(value: float) -> str:
    return f"{rounded(value):g}"


def _certainty(learned: Learned) -> dict[str, str]:
    """How many jobs, how they spread, how sure the value is, and how much of it is theirs."""
    return {
        "jobs": f"{learned.n_jobs:,}",
        "spread": f"{_figure(learned.low)} – {_figure(learned.high)}",
        "error": f"± {_figure(learned.value * learned.error_frac)}",
        "weight": f"{100 * learned.weight_frac:.0f} %",
    }


def _not_learned(desk: Desk, contents: Iterable[OrderContent]) -> list[tuple[str, str]]:
    """Why nothing is learned, each reason with the work it holds for."""
    titles: dict[WhyNot, dict[str, None]] = defaultdict(dict)
    for content in contents:
        if content.why_not:
            titles[content.why_not][say_said(content.order.title, desk.language)] = None
    return [(str(WHY_NOT[why]), ", ".join(titles[why])) for why in WhyNot if titles[why]]


# The drawing --------------------------------------------------------------------------------------


def _chart(lines: Sequence[ContentLine]) -> Chart:
    """Draw how many times its standing order's minutes each kind of work takes."""
    bars = [(line.title, line.content.learned) for line in lines if line.content.learned]
    n_over = sum(learned.ratio > 1 for _title, learned in bars)
    finding = ngettext(
        "%(over)d of %(n)d kind of work takes longer than its standing order says.",
        "%(over)d of %(n)d kinds of work take longer than their standing orders say.",
        len(bars),
    ) % {"over": n_over, "n": len(bars)}
    heads = (_("Work"), _("Times what is said"), _("8 jobs in 10 lie between"))
    rows = tuple(
        (title, f"{one.ratio:.2f}", f"{one.low / one.default:.2f} – {one.high / one.default:.2f}")
        for title, one in bars
    )
    return Chart("content", finding, _draw(bars, finding, rows), heads, rows)


def _draw(
    bars: Sequence[tuple[str, Learned]], finding: str, rows: Iterable[tuple[str, ...]]
) -> SafeString:
    """Draw a bar a row: where 8 jobs in 10 lie, a dot at the value, a line at what is said."""
    desc = "; ".join(f"{title} {times} ({spread})" for title, times, spread in rows)
    height = HEAD_H + ROW_H * len(bars) + 6
    drawing = Drawing("content", WIDTH, height, finding, desc)
    top_times = min(max(one.high / one.default for _title, one in bars) * 1.05, MOST_TIMES)
    per_time = (WIDTH - LABEL_W - 20) / max(top_times, 1.5)
    for half in range(int(2 * max(top_times, 1.5)) + 1):
        x = LABEL_W + half / 2 * per_time
        drawing.line(x, HEAD_H - 4, x, height)
        drawing.text(x, 15, f"{half / 2:g} ×", "soft", "middle")
    drawing.line(LABEL_W + per_time, HEAD_H - 6, LABEL_W + per_time, height, "limit")
    for index, (title, one) in enumerate(bars):
        top = HEAD_H + index * ROW_H
        low, value, high = (
            LABEL_W + min(each / one.default, MOST_TIMES) * per_time
            for each in (one.low, one.value, one.high)
        )
        drawing.text(4, top + 17, title)
        drawing.rect((low, top + 6, high - low, ROW_H - 12), "bar soft")
        drawing.dot(value, top + ROW_H / 2, 5, f"{title}: {one.ratio:.2f} ×")
    return drawing.done()
