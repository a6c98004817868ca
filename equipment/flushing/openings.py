"""When each valve is to open: after the beds at a visit, at set times, one at a time per tank."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from heapq import heapify, heappop, heappush
from math import ceil
from zoneinfo import ZoneInfo

from equipment.site.calc import local_time

from . import calc
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


LITRE_M3 = 0.001  # a run that lacks less than this lacks nothing


@dataclass
class TankLevel:
    """A tank as its runs queue on it: the level at an instant, and how long a run may wait."""

    tank: calc.FlushTank
    level_m3: float
    known_at: datetime
    wait_max: timedelta

    def __post_init__(self) -> None:
        self._at = self.known_at

    def _before(self, at: datetime) -> float:
        hours_h = max((at - self._at) / timedelta(hours=1), 0.0)
        return self.tank.refilled(self.level_m3, hours_h)

    def draw(self, at: datetime, volume_m3: float) -> float:
        """Let a run draw; gives what it lacks. What ran before the level was known is in it."""
        if at < self.known_at:
            return 0.0
        before_m3 = self._before(at)
        drawn_m3 = min(volume_m3, max(before_m3 - self.tank.reserve_m3, 0.0))
        self.level_m3, self._at = before_m3 - drawn_m3, max(at, self._at)
        short_m3 = volume_m3 - drawn_m3
        return short_m3 if short_m3 > LITRE_M3 else 0.0

    def fit_at(self, at: datetime, volume_m3: float) -> datetime | None:
        """When the tank has a run's water, on a whole second; None where not within a day."""
        needed_m3 = volume_m3 + self.tank.reserve_m3
        lacking_m3 = needed_m3 - self._before(at)
        if lacking_m3 <= LITRE_M3 or at < self.known_at:
            return at
        if needed_m3 > self.tank.volume_m3 or lacking_m3 > 24 * self.tank.refill_m3_h:
            return None
        full_at = max(at, self._at) + timedelta(hours=lacking_m3 / self.tank.refill_m3_h)
        # A second of the clock, not of the wait: planned anew a little later it stays the same.
        return datetime.fromtimestamp(ceil(full_at.timestamp() - 1e-3), UTC)


@dataclass(frozen=True, slots=True)
class Queued:
    """An opening in its turn: how long it waits for its tank's water, and what it lacks then."""

    opening: Opening
    waits: timedelta
    short_m3: float


def queue(
    openings: Iterable[Opening],
    *,
    begun: Mapping[str, datetime],
    at: datetime,
    levels: Mapping[int, TankLevel],
    dry: Collection[int] = (),
) -> list[Queued]:
    """Let the valves of one tank open one after the other, first wished first served.

    Those that have begun keep their time; no other one opens before `at`. A run at a set time
    whose tank is too low waits until it has the water, as long as the farm lets it; one of a visit
    has its cows' time and does not wait. Who cannot wait runs with what there is. `levels` are
    used up; `dry` are timers that a lock stops: their runs draw nothing.
    """
    by_tank: dict[int, list[Opening]] = defaultdict(list)
    for opening in openings:
        by_tank[opening.timer.tank_id].append(opening)
    return [
        queued
        for tank_id, wished in by_tank.items()
        for queued in _queue_one(wished, begun, at, levels[tank_id], dry)
    ]


def _queue_one(
    wished: Iterable[Opening],
    begun: Mapping[str, datetime],
    at: datetime,
    level: TankLevel,
    dry: Collection[int],
) -> Iterator[Queued]:
    heap = [
        (begun.get(o.key) or max(o.starts_at, at), o.key not in begun, o.key, timedelta(0), o)
        for o in wished
    ]
    heapify(heap)
    free_at = heap[0][0]
    while heap:
        turn_at, may_move, key, waits, opening = heappop(heap)
        starts_at = max(turn_at, free_at) if may_move else turn_at
        volume_m3 = 0.0 if opening.timer.pk in dry else opening.length.volume_m3
        if may_move and opening.timer.trigger == TimerTrigger.AT_TIMES:
            fit_at = level.fit_at(starts_at, volume_m3)
            if fit_at and starts_at < fit_at <= opening.starts_at + level.wait_max:
                waited = fit_at - opening.starts_at
                heappush(heap, (fit_at, may_move, key, waited, opening))
                continue
        placed = replace(opening, starts_at=starts_at)
        yield Queued(placed, waits, level.draw(starts_at, volume_m3))
        free_at = max(free_at, placed.closes_at)
