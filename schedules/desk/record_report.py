"""A report: which rows, in which order, with which columns; its first rows and all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db.models import Count, QuerySet, Window
from django.utils.functional import Promise

from equipment.site.queries import events_that_made
from equipment.site.tables import in_parts

from .base import Desk
from .record_columns import Col, Raw
from .record_period import Period

LATE_EVENTS = timedelta(days=1)  # a phone's clock is mended by more than this only with a question
Rows = QuerySet[Any, Any] | Sequence[Any]


@dataclass(frozen=True, slots=True)
class Report:
    """One report: `by` is the column that its rows are ordered by, before their key.

    `told` names the kind of event and the key of its answer that made a row, where rows do not
    say so themselves.
    """

    key: str
    title: Callable[[Desk], str]
    note: str | Promise
    rows: Callable[[Desk, Period], Rows]
    by: str
    columns: tuple[Col, ...]
    told: tuple[str, str] | None = None
    link: Callable[[Desk, Any], str] = field(default=lambda _desk, _row: "")

    @property
    def raws(self) -> list[Raw]:
        """Columns of the CSV."""
        return [raw for col in self.columns for raw in col.raws]


def first_rows(desk: Desk, report: Report, period: Period, most: int) -> tuple[list[Any], int]:
    """Give the first rows and how many there are in all: 1 query, 2 where events are sought."""
    rows = report.rows(desk, period)
    if not isinstance(rows, QuerySet):
        return list(rows[:most]), len(rows)
    shown = list(rows.annotate(n_in_all=Window(Count("*"))).order_by(report.by, "pk")[:most])
    _find_events(desk, report, shown)
    return shown, shown[0].n_in_all if shown else 0


def every_row(desk: Desk, report: Report, period: Period) -> Iterator[Any]:
    """Give all rows, read in parts: memory holds one part."""
    rows = report.rows(desk, period)
    parts = in_parts(rows, report.by) if isinstance(rows, QuerySet) else [rows]
    for part in parts:
        _find_events(desk, report, part)
        yield from part


def _find_events(desk: Desk, report: Report, rows: Sequence[Any]) -> None:
    """Let rows know the event that made them: 1 query where they do not say so themselves."""
    if report.told is None or not rows:
        return
    kind, key = report.told
    since = min(getattr(row, report.by) for row in rows) - LATE_EVENTS
    found = events_that_made(desk.site_id, kind, key, [row.pk for row in rows], since)
    for row in rows:
        row.event_id = found.get(row.pk)
