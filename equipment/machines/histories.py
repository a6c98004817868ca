"""What hour meters have shown, as series: made anew for a machine only when its readings changed.

A series needs every reading there ever was: a later one may show an earlier one to be a slip. So
that a look at the farm does not grow with its years, the process keeps what it made. One query says
whether it still holds: by count, newest key and newest stamp of each machine's readings.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Count, Max

from .calc.downtime import Span
from .calc.meter import MeterSeries, Reading
from .calc.use import DailyUse, recent_use
from .models import MeterReading

MOST_KEPT = 200  # machines; ten years of three readings a day take some 3 MB each


@dataclass(frozen=True, slots=True)
class MeterHistory:
    """One machine's meters: all readings as a series, and the last as it was told."""

    series: MeterSeries
    last: MeterReading
    _uses: dict[tuple[Span, ...], tuple[DailyUse | None]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def recent_use(self, laid_up: Iterable[Span]) -> DailyUse | None:
        """Estimate the daily use, as `calc/use.recent_use` does, once for the same stops."""
        spans = tuple(laid_up)
        known = self._uses.get(spans)
        if known is None:
            known = (recent_use(self.series, spans),)
            self._uses.clear()  # another thread may do so between any two lines
            self._uses[spans] = known
        return known[0]


@dataclass(frozen=True, slots=True)
class Mark:
    """What a machine's readings are known by: they are only ever added."""

    machine_id: int
    n: int
    newest_id: int
    newest_stamp: datetime


_kept: OrderedDict[Mark, MeterHistory] = OrderedDict()
_turn = threading.Lock()


def meter_histories(site_id: int) -> dict[int, MeterHistory]:
    """Give the history of each machine that has readings: 1 query, 2 after a new one."""
    marks = _marks(site_id)
    with _turn:
        found = {mark: _kept[mark] for mark in marks if mark in _kept}
    missing = [mark.machine_id for mark in marks if mark not in found]
    if missing:
        found |= _made(missing)
    with _turn:
        for mark, history in found.items():
            _kept[mark] = history
            _kept.move_to_end(mark)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return {mark.machine_id: history for mark, history in found.items()}


def series_of(readings: Iterable[MeterReading]) -> MeterSeries:
    """Make the meter series of one machine's readings, given in order of time."""
    return MeterSeries(tuple(Reading(r.read_at, r.meter_h, r.is_new_meter) for r in readings))


def _marks(site_id: int) -> list[Mark]:
    rows = MeterReading.objects.filter(site_id=site_id).order_by().values("machine_id")
    told = rows.annotate(n=Count("pk"), newest_id=Max("pk"), newest_stamp=Max("changed_at"))
    return [Mark(**row) for row in told]


def _made(machine_ids: Iterable[int]) -> dict[Mark, MeterHistory]:
    """Make histories, each under the mark of the rows it was made of."""
    by_machine: dict[int, list[MeterReading]] = defaultdict(list)
    for reading in MeterReading.objects.filter(machine_id__in=machine_ids).order_by("read_at"):
        by_machine[reading.machine_id].append(reading)
    return {
        Mark(
            pk, len(rows), max(row.pk for row in rows), max(row.changed_at for row in rows)
        ): MeterHistory(series_of(rows), rows[-1])
        for pk, rows in by_machine.items()
    }
