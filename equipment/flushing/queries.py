"""Reads of flushing that pages, API and upper rooms share."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet

from equipment.site.models import Place

from . import calc
from .lengths import RunLength, length_of, set_length
from .models import FlushRun, FlushTimer, Lock, RunStatus, Tank, TimerTrigger
from .water import load_water_ways

# A tank fills in 2 to 4 h (Missouri Extension WQ308): what it held a day before matters no more.
SETTLES = timedelta(days=1)


def open_locks(site_id: int) -> QuerySet[Lock]:
    """Locks that are on, the oldest first, with place and owner: 1 query."""
    locks = Lock.objects.filter(site_id=site_id, off_at=None)
    return locks.select_related("place", "owner").order_by("on_at", "pk")


def places_reached(site_id: int, place_id: int) -> list[Place]:
    """Alleys, lane and beyond, in the order in which a place's water comes to them: 5 queries."""
    reached = load_water_ways(site_id).reached(place_id)
    places = Place.objects.filter(site_id=site_id).in_bulk(reached)
    return [places[pk] for pk in reached]


def timers_in_use(site_id: int) -> QuerySet[FlushTimer]:
    """Timers that make runs, with alley and tank: 1 query."""
    return (
        FlushTimer.objects.filter(
            site_id=site_id,
            retired_at=None,
            alley__place__retired_at=None,
            tank__place__retired_at=None,
        )
        .select_related("alley__place", "tank__place")
        .order_by("pk")
    )


def runs_between(site_id: int, start: datetime, end: datetime) -> QuerySet[FlushRun]:
    """Runs that reach into [start, end), with timer, alley and lock: 1 query."""
    return (
        FlushRun.objects.filter(site_id=site_id, starts_at__lt=end, ends_at__gt=start)
        .select_related(
            "timer__tank__place", "alley__place", "blocked_by__owner", "blocked_by__place"
        )
        .order_by("starts_at", "pk")
    )


def visit_flush_min(site_id: int) -> dict[int, float]:
    """How long the flushes of a visit take of a pen's window, by pen id: 1 query. [min]"""
    by_pen_and_tank: dict[tuple[int, int], list[RunLength]] = defaultdict(list)
    for timer in timers_in_use(site_id).filter(trigger=TimerTrigger.AT_VISIT):
        if timer.alley.pen_id is not None:
            by_pen_and_tank[timer.alley.pen_id, timer.tank_id].append(length_of(timer))
    longest: dict[int, float] = defaultdict(float)
    for (pen_id, _tank_id), lengths in by_pen_and_tank.items():
        longest[pen_id] = max(longest[pen_id], set_length(lengths) / timedelta(minutes=1))
    return longest


@dataclass(frozen=True, slots=True)
class TankPlan:
    """A tank and its level at each run that draws on it."""

    tank: Tank
    day: calc.TankDay


def tank_levels(site_id: int, tank: Tank, start: datetime, end: datetime) -> calc.TankDay:
    """The tank's level at each run that opens in [start, end), as planned: 1 query.

    Taken as full a day before. A blocked run draws nothing.
    """
    runs = FlushRun.objects.filter(
        site_id=site_id, timer__tank=tank, starts_at__gte=start - SETTLES, starts_at__lt=end
    )
    return _tank_day(tank, runs.order_by("starts_at", "pk"), start, end)


def tank_plans(runs: Iterable[FlushRun], start: datetime, end: datetime) -> list[TankPlan]:
    """The levels of every tank that some runs draw on, as `tank_levels`: no query.

    `runs` are those between `start - SETTLES` and `end`, by their opening, with tank and place.
    """
    runs_by_tank: dict[int, list[FlushRun]] = defaultdict(list)
    for run in runs:
        if start - SETTLES <= run.starts_at < end:
            runs_by_tank[run.timer.tank_id].append(run)
    tanks = [rows[0].timer.tank for _key, rows in sorted(runs_by_tank.items())]
    return [TankPlan(tank, _tank_day(tank, runs_by_tank[tank.pk], start, end)) for tank in tanks]


def _tank_day(tank: Tank, runs: Iterable[FlushRun], start: datetime, end: datetime) -> calc.TankDay:
    draws = [
        calc.Draw(run.natural_key, run.starts_at, run.volume_m3)
        for run in runs
        if run.status != RunStatus.BLOCKED
    ]
    flush_tank = calc.FlushTank(volume_m3=tank.volume_m3, refill_m3_h=tank.refill_m3_h)
    before = calc.run_tank(
        flush_tank,
        [draw for draw in draws if draw.starts_at < start],
        level_m3=tank.volume_m3,
        start_at=start - SETTLES,
        end_at=start,
    )
    return calc.run_tank(
        flush_tank,
        [draw for draw in draws if draw.starts_at >= start],
        level_m3=before.end_m3,
        start_at=start,
        end_at=end,
    )
