"""What closes places for a while: cows that walk back, water that runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import NamedTuple

from django.db import models
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from equipment.barns.models import BedGroup
from equipment.flushing.models import FlushRun, RunStatus
from equipment.flushing.queries import runs_between
from equipment.flushing.water import load_water_ways
from equipment.site.models import Place, PlaceKind
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import visits_between

WET = (PlaceKind.ALLEY, PlaceKind.LANE, PlaceKind.TANK)  # where a flush meets people


class Why(models.TextChoices):
    """What closes a place for a while."""

    COWS_WALK_BACK = "cows_walk_back", _("cows walk back")
    FLUSH_RUNS = "flush_runs", _("a flush runs")


class Closure(NamedTuple):
    """One place shut from an instant until another."""

    place_id: int
    start: datetime
    end: datetime
    why: Why


def closures_of(site_id: int, start: datetime, end: datetime) -> Iterator[Closure]:
    """Give what closes places in [start, end): 10 queries for any number of visits and runs."""
    rows = BedGroup.objects.filter(site_id=site_id, alley__isnull=False)
    alley_of = {row.place_id: row.alley_id for row in rows if row.alley_id is not None}
    yield from _cows_walk(visits_between(site_id, start, end), alley_of)
    yield from _floods(site_id, runs_between(site_id, start, end), alley_of)


def _cows_walk(visits: Iterable[PenVisit], alley_of: Mapping[int, int]) -> Iterator[Closure]:
    """Nobody in a pen while its cows walk back, nor in a row or an alley that has closed."""
    for visit in visits:
        for place_id, closes_at in _closing(visit, alley_of):
            if visit.last_back_at > closes_at:
                yield Closure(place_id, closes_at, visit.last_back_at, Why.COWS_WALK_BACK)


def _closing(visit: PenVisit, alley_of: Mapping[int, int]) -> Iterable[tuple[int, datetime]]:
    """When the pen, each row and each alley of a visit close.

    An alley closes with the last of its rows: the machine in the others' beds stands in it behind
    the moving gate. Work in the alley itself has a window that ends with the first.
    """
    yield visit.pen_id, visit.first_back_at
    last: dict[int, datetime] = {}
    for window in visit.windows.all():
        yield window.bed_group_id, window.closes_at
        alley_id = alley_of.get(window.bed_group_id)
        if alley_id is not None:
            last[alley_id] = max(window.closes_at, last.get(alley_id, window.closes_at))
    yield from last.items()


def _floods(
    site_id: int, runs: QuerySet[FlushRun], alley_of: Mapping[int, int]
) -> Iterator[Closure]:
    """Nobody where a flush comes by, from its tank to the lane, nor in the beds along its alley."""
    beds: dict[int, list[int]] = defaultdict(list)
    for bed_id, alley_id in alley_of.items():
        beds[alley_id].append(bed_id)
    ways = load_water_ways(site_id)
    wet = set(Place.objects.filter(site_id=site_id, kind__in=WET).values_list("pk", flat=True))
    for run in runs.exclude(status=RunStatus.BLOCKED):
        for place_id in sorted(ways.path_of(run.timer) & wet) + beds[run.alley_id]:
            yield Closure(place_id, run.starts_at, run.ends_at, Why.FLUSH_RUNS)
