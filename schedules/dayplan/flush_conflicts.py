"""Which flush runs would meet people, machines or cows being moved, as all of it is planned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from equipment.flushing.calc import PlannedRun, Presence, Who, find_conflicts
from equipment.flushing.models import FlushRun, RunStatus
from equipment.flushing.queries import read_runs
from equipment.flushing.water import WaterWays, load_water_ways
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import visits_between

from .models import Assignment


@dataclass(frozen=True, slots=True)
class FlushConflict:
    """A run that is not to run then: whom it would meet, with their work order or their visit."""

    run: FlushRun
    who: Who
    assignment: Assignment | None
    visit: PenVisit | None


def flush_conflicts(site_id: int, start: datetime, end: datetime) -> list[FlushConflict]:
    """Runs not stopped by a lock that would meet somebody in [start, end): 9 queries.

    Each run and each whom once. Work that watches a flush from beside it (`during: flush`) is
    left out; so is who went somewhere untold.
    """
    ways = load_water_ways(site_id)
    rows = read_runs(site_id, start, end)
    runs = {row.natural_key: row for row in rows if row.status == RunStatus.PLANNED}
    given = {f"a{a.pk}": a for a in _assignments(site_id, start, end)}
    visits = {f"v{v.pk}": v for v in visits_between(site_id, start, end)}
    there = [
        *(p for key, a in given.items() for p in _people(key, a, ways)),
        *(p for key, v in visits.items() for p in _cows(key, v, ways)),
    ]
    met = find_conflicts([_planned(run) for run in runs.values()], there, ways.drains_to)
    first = {(c.run_key, c.presence.key): c.presence for c in met}
    return [
        FlushConflict(runs[run_key], presence.who, given.get(key), visits.get(key))
        for (run_key, key), presence in first.items()
    ]


def _assignments(site_id: int, start: datetime, end: datetime) -> list[Assignment]:
    rows = Assignment.objects.filter(site_id=site_id, starts_at__lt=end, ends_at__gt=start)
    rows = rows.select_related("work_order__place", "work_order__standing_order")
    return [row for row in rows.prefetch_related("claims") if not _watches(row)]


def _watches(row: Assignment) -> bool:
    rule = row.work_order.standing_order
    return rule is not None and rule.trigger_rule.get("during") == "flush"


def _people(key: str, row: Assignment, ways: WaterWays) -> Iterator[Presence[int]]:
    has_machine = any(claim.machine_id for claim in row.claims.all())
    who = Who.MACHINE if has_machine else Who.PEOPLE
    if row.work_order.place_id is not None:
        for place_id in ways.exposed_at(row.work_order.place_id):
            yield Presence(key, who, place_id, row.starts_at, row.ends_at)


def _cows(key: str, visit: PenVisit, ways: WaterWays) -> Iterator[Presence[int]]:
    """Cows walk in their pen's alleys from its call until the last is out, and back."""
    walks = (
        (visit.called_at, visit.last_out_at),
        (visit.first_back_at, visit.last_back_at),
    )
    for start_at, end_at in walks:
        if start_at < end_at:
            for place_id in ways.exposed_at(visit.pen_id):
                yield Presence(key, Who.COWS, place_id, start_at, end_at)


def _planned(run: FlushRun) -> PlannedRun[int]:
    return PlannedRun(
        run.natural_key,
        run.timer.tank_id,
        run.alley_id,
        run.starts_at,
        run.timer.open_s,
        max((run.ends_at - run.starts_at) / timedelta(seconds=1), run.timer.open_s),
    )
