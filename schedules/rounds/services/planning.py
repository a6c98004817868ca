"""Milkings ahead: each occurrence once, from the farm's local times."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from equipment.flushing.services import FlushCounts
from equipment.parlor.models import Parlor
from equipment.site.calc import local_time
from equipment.site.writes import site_write
from schedules.rounds import calc
from schedules.rounds.clock import (
    ParlorSetup,
    last_wash_until,
    load_setup,
    site_parlor,
    time_milking,
)
from schedules.rounds.models import Milking, MilkingState

from .flushes import plan_flushes
from .locking import lock_parlors
from .timetable import MilkingKey, TimetableCounts, write_timetable


@dataclass(frozen=True, slots=True)
class PlanCounts:
    """What a planning did to the rows."""

    timetable: TimetableCounts
    flushes: FlushCounts


def plan_milkings(*, site_id: int, from_on: date, until_on: date, at: datetime) -> PlanCounts:
    """Make or bring up to date the milkings of local dates [from_on, until_on), and flush runs.

    Milkings that have begun by `at`, or of which anything was reported, stay as they are. A
    second call changes nothing. Tells `milking.planned` and `visit.retimed`.
    """
    with site_write(site_id, at) as write:
        lock_parlors(site_id)
        parlor = site_parlor(site_id)
        if parlor is None or until_on <= from_on:
            return PlanCounts(TimetableCounts(), FlushCounts())
        setup = load_setup(parlor)
        rows = _rows_of(parlor, from_on, until_on)
        fixed = [row for row in rows if _is_fixed(row, at)]
        clocks = _time_dates(setup, from_on, until_on, fixed)
        planned = [row for row in rows if not _is_fixed(row, at)]
        counts = write_timetable(write, setup, planned, clocks)
        start_at, _end = local_time.day_bounds(from_on, setup.zone)
        end_at, _end = local_time.day_bounds(until_on, setup.zone)
        return PlanCounts(counts, plan_flushes(site_id, start_at, end_at, at))


def _rows_of(parlor: Parlor, from_on: date, until_on: date) -> list[Milking]:
    rows = Milking.objects.filter(parlor=parlor, local_date__gte=from_on, local_date__lt=until_on)
    return list(rows.prefetch_related("visits__windows"))


def _is_fixed(milking: Milking, at: datetime) -> bool:
    reported = any(visit.actual or visit.foretold for visit in milking.visits.all())
    return milking.state != MilkingState.PLANNED or reported or milking.starts_at <= at


def _time_dates(
    setup: ParlorSetup, from_on: date, until_on: date, fixed: list[Milking]
) -> dict[MilkingKey, calc.ClockDay]:
    """Time all milkings of some dates but the fixed ones, each after the wash before it."""
    fixed_by_key = {(row.local_date, row.slot): row for row in fixed}
    starts = {
        (day, slot): at
        for day in _dates(from_on, until_on)
        for slot, at in setup.planned_starts(day).items()
    }
    starts |= {key: row.starts_at for key, row in fixed_by_key.items()}
    pens = setup.milked_pens
    clocks: dict[MilkingKey, calc.ClockDay] = {}
    free_from = last_wash_until(Milking.objects.filter(parlor=setup.parlor, local_date__lt=from_on))
    for key, starts_at in sorted(starts.items(), key=lambda item: (item[1], item[0])):
        if key in fixed_by_key:
            free_from = fixed_by_key[key].wash_until
        elif pens:
            clocks[key] = time_milking(
                setup, slot=key[1], starts_at=starts_at, free_from=free_from, pens=pens
            )
            free_from = clocks[key].milkings[0].wash_until
    return clocks


def _dates(from_on: date, until_on: date) -> Iterator[date]:
    return (from_on + timedelta(days=n) for n in range((until_on - from_on).days))
