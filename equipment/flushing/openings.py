"""When each valve is to open: after the beds at a visit, at set times, one at a time per tank."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from equipment.site.calc import local_time

from .lengths import RunLength, length_of, waits_in_set
from .models import FlushTimer, TimerTrigger
from .visits import FlushVisit


@dataclass(frozen=True, slots=True)
class Opening:
    """One opening of a timer's valve; `key` never holds a time that can move."""

    key: str
    timer: FlushTimer
    starts_at: datetime
    length: RunLength

    @property
    def closes_at(self) -> datetime:
        return self.starts_at + self.length.open

    @property
    def ends_at(self) -> datetime:
        return self.starts_at + self.length.total


def openings_at_visits(timers: Iterable[FlushTimer], visits: Iterable[FlushVisit]) -> list[Opening]:
    """The runs of pens' visits: as late as the alley's rows leave room for."""
    sets: dict[int | None, dict[int, list[FlushTimer]]] = defaultdict(lambda: defaultdict(list))
    for timer in timers:
        if timer.trigger == TimerTrigger.AT_VISIT:
            sets[timer.alley.pen_id][timer.tank_id].append(timer)
    return [
        opening
        for visit in visits
        for of_one_tank in sets[visit.pen_id].values()
        for opening in _one_set(of_one_tank, visit)
    ]


def _one_set(timers: Sequence[FlushTimer], visit: FlushVisit) -> list[Opening]:
    """The pen's alleys on one tank, one behind the other, the last drained in time.

    Where the rows are not empty for so long, the set begins as soon as they are.
    """
    lengths = [length_of(timer) for timer in timers]
    waits = waits_in_set(lengths)
    spans = [visit.span_of(timer.alley_id) for timer in timers]
    latest = min(
        end_at - length.total - wait
        for (_start, end_at), length, wait in zip(spans, lengths, waits, strict=True)
    )
    starts_at = max(latest, *(start_at for start_at, _end in spans))
    return [
        Opening(f"{timer.key}/{visit.key}", timer, starts_at + wait, length)
        for timer, length, wait in zip(timers, lengths, waits, strict=True)
    ]


def openings_at_times(
    timers: Iterable[FlushTimer], start: datetime, end: datetime, zone: ZoneInfo
) -> list[Opening]:
    """The runs of set local times of all dates that [start, end) touches."""
    # A spring gap before midnight moves a run into the day after, so the day before counts too.
    first_on = local_time.local_date_of(start, zone) - timedelta(days=1)
    n_days = (local_time.local_date_of(end, zone) - first_on).days
    days = [first_on + timedelta(days=n) for n in range(n_days + 1)]
    return [
        Opening(
            key=f"{timer.key}/{day}/t{number}",
            timer=timer,
            starts_at=local_time.resolve(datetime.combine(day, time.fromisoformat(text)), zone),
            length=length_of(timer),
        )
        for timer in timers
        if timer.trigger == TimerTrigger.AT_TIMES
        for day in days
        for number, text in enumerate(timer.times_local, start=1)
    ]


def queue(
    openings: Iterable[Opening], *, begun: Mapping[str, datetime], at: datetime
) -> list[Opening]:
    """Let the valves of one tank open one after the other, first wished first served.

    Those that have begun keep their time; no other one opens before `at`.
    """
    wished = [
        replace(opening, starts_at=begun.get(opening.key) or max(opening.starts_at, at))
        for opening in openings
    ]
    queued: list[Opening] = []
    free_at: dict[int, datetime] = {}
    for opening in sorted(wished, key=lambda o: (o.key not in begun, o.starts_at, o.key)):
        tank_id = opening.timer.tank_id
        earliest = free_at.get(tank_id, opening.starts_at)
        waits = opening.key not in begun and earliest > opening.starts_at
        queued.append(replace(opening, starts_at=earliest) if waits else opening)
        free_at[tank_id] = max(earliest, queued[-1].closes_at)
    return queued
