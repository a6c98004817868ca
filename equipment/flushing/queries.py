"""Reads of flushing that pages, API and upper rooms share."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from equipment.site.looks import once_a_look
from equipment.site.models import Place

from . import calc
from .lengths import RunLength, length_of, set_length
from .models import FlushRun, FlushTimer, FlushWater, Lock, RunStatus, Tank, TimerTrigger
from .openings import TankLevel
from .water import load_water_ways

# A tank fills in 2 to 4 h (Missouri Extension WQ308): what it held a day before matters no more.
SETTLES = timedelta(days=1)


def open_locks(site_id: int) -> QuerySet[Lock]:
    """Locks that are on, the oldest first, with place and owner: 1 query."""
    locks = Lock.objects.filter(site_id=site_id, off_at=None)
    return locks.select_related("place", "owner").order_by("on_at", "pk")


def isolated_places(
    site_id: int,
    place_ids: Collection[int],
    *,
    since: datetime,
    until: datetime,
    owner_id: int | None = None,
) -> set[int]:
    """Those of some places that locks on record within a time keep water from: 6 queries.

    With `owner_id` only by that person's own locks.
    """
    if not place_ids:
        return set()
    on = Q(off_at=None) | Q(off_at__gt=since)
    rows = Lock.objects.filter(on, site_id=site_id, on_at__lte=until)
    locks = list(rows.filter(owner_id=owner_id) if owner_id else rows)
    ways, timers = load_water_ways(site_id), read_timers(site_id)
    return {pk for pk in place_ids if ways.is_isolated(pk, locks, timers)}


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


@once_a_look
def read_timers(site_id: int) -> list[FlushTimer]:
    """Give `timers_in_use`, read: 1 query."""
    return list(timers_in_use(site_id))


@once_a_look
def read_runs(site_id: int, start: datetime, end: datetime) -> list[FlushRun]:
    """Give `runs_between`, read: 1 query."""
    return list(runs_between(site_id, start, end))


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
    """A tank, its level at the start and at each run that draws on it, and the runs' names."""

    tank: Tank
    start_m3: float
    day: calc.TankDay
    names: dict[str, str]


@once_a_look
def tank_plans(site_id: int, start: datetime, end: datetime) -> list[TankPlan]:
    """Each tank in use and its level at each run that opens in [start, end), as planned: 2 queries.

    Taken as full a day before. A blocked run draws nothing.
    """
    runs = _runs_by_tank(site_id, start, end)
    return [_tank_plan(tank, runs.get(tank.pk, []), start, end) for tank in _tanks(site_id)]


@once_a_look
def _tanks(site_id: int) -> list[Tank]:
    tanks = Tank.objects.filter(site_id=site_id, place__retired_at=None).select_related("place")
    return list(tanks.order_by("pk"))


def levels_at(site_id: int, at: datetime) -> dict[int, TankLevel]:
    """Each tank in use at an instant, by its id, for runs to queue on: 3 queries."""
    wait_max = timedelta(minutes=flush_water_of(site_id).wait_max_min)
    return {
        plan.tank.pk: TankLevel(_calc_tank(plan.tank), plan.day.end_m3, at, wait_max)
        for plan in tank_plans(site_id, at, at)
    }


@once_a_look
def flush_water_of(site_id: int) -> FlushWater:
    """Give the farm's figures for its flush water, the defaults where it has none: 1 query."""
    return FlushWater.objects.filter(site_id=site_id).first() or FlushWater(site_id=site_id)


def timers_by_lock(site_id: int, locks: Collection[Lock]) -> dict[int | None, list[int]]:
    """Timers by the lock that stops them, under None those that no lock does: 5 queries."""
    ways = load_water_ways(site_id)
    timers: dict[int | None, list[int]] = defaultdict(list)
    for timer in FlushTimer.objects.filter(site_id=site_id):
        lock = ways.lock_in_way(timer, locks)
        timers[lock.pk if lock else None].append(timer.pk)
    return timers


def flush_m3_d_by_end(site_id: int, start: datetime, end: datetime) -> dict[int, float]:
    """Flush water that comes to each last place of its way, most often a basin: 6 queries.

    By the place's id, mean over the span. [m³ d⁻¹] A blocked run brings nothing.
    """
    ways = load_water_ways(site_id)
    ends = {t.pk: calc.water_path(t.alley_id, ways.drains_to)[-1] for t in read_timers(site_id)}
    runs = FlushRun.objects.filter(
        site_id=site_id, starts_at__gte=start, starts_at__lt=end, timer_id__in=ends
    ).exclude(status=RunStatus.BLOCKED)
    volumes: dict[int, float] = defaultdict(float)
    for timer_id, volume_m3, short_m3 in runs.values_list("timer_id", "volume_m3", "short_m3"):
        volumes[ends[timer_id]] += volume_m3 - short_m3
    days_d = (end - start) / timedelta(days=1)
    return {place_id: volume_m3 / days_d for place_id, volume_m3 in volumes.items()}


@once_a_look
def _runs_by_tank(site_id: int, start: datetime, end: datetime) -> dict[int, list[FlushRun]]:
    """Each tank's runs that draw from a day before `start` until `end`: 1 query."""
    rows = (
        FlushRun.objects.filter(site_id=site_id, starts_at__gte=start - SETTLES, starts_at__lt=end)
        .exclude(status=RunStatus.BLOCKED)
        .select_related("timer")
        .order_by("starts_at", "pk")
    )
    runs: dict[int, list[FlushRun]] = defaultdict(list)
    for run in rows:
        runs[run.timer.tank_id].append(run)
    return runs


def _tank_plan(tank: Tank, runs: Sequence[FlushRun], start: datetime, end: datetime) -> TankPlan:
    flush_tank = _calc_tank(tank)
    draws = [calc.Draw(run.natural_key, run.starts_at, run.volume_m3) for run in runs]
    before = calc.run_tank(
        flush_tank,
        [draw for draw in draws if draw.starts_at < start],
        level_m3=tank.volume_m3,
        start_at=start - SETTLES,
        end_at=start,
    )
    day = calc.run_tank(
        flush_tank,
        [draw for draw in draws if draw.starts_at >= start],
        level_m3=before.end_m3,
        start_at=start,
        end_at=end,
    )
    names = {run.natural_key: run.timer.name for run in runs}
    return TankPlan(tank, before.end_m3, day, names)


def _calc_tank(tank: Tank) -> calc.FlushTank:
    return calc.FlushTank(tank.volume_m3, tank.refill_m3_h, tank.reserve_m3)
