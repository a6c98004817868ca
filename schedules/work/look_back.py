"""The weeks that were: did every row of beds get its turn, and what did it take?

Of places, jobs and weeks alone: no row that is read here says who did it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import (
    Case,
    Count,
    DurationField,
    Exists,
    ExpressionWrapper,
    F,
    FloatField,
    OuterRef,
    Q,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Cast, Extract, TruncDate

from equipment.barns.models import Pen
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import PlaceKind, Site
from schedules.sand.models import AccountKind, SandMove
from schedules.sand.queries import stalls_by_pen

from .calc.drafts import REST
from .calc.turns import Turns, week_of, weeks_before
from .models import Outcome, Trigger, WorkOrder
from .work_content import LEAST_SPAN

ENDED = (Outcome.DONE, Outcome.PART, Outcome.COULD_NOT)
SUMMED = ("person_min", "machine_min", "n_loads", "n_jobs", "n_planned")
LONGEST = timedelta(hours=8)  # who ended later forgot to say so; common practice, no source
Week = tuple[date, date]


@dataclass(frozen=True, slots=True)
class PenWeek:
    """One pen's beds in one week: turns, days on which sand came, and how much of it."""

    turns: Turns
    n_beddings: int
    sand_kg: float


@dataclass(frozen=True, slots=True)
class PenRecord:
    """One pen over the weeks; stalls as they are now."""

    pen: Pen
    n_stalls: int
    weeks: tuple[PenWeek, ...]


@dataclass(frozen=True, slots=True)
class WeekTaken:
    """What all work of one week took: told from start to end, else (`n_planned` jobs) as planned.

    Minutes of a machine are those of jobs that ask for one.
    """

    person_min: float
    machine_min: float
    n_loads: int
    n_jobs: int
    n_planned: int
    sand_kg: float


@dataclass(frozen=True, slots=True)
class LookBack:
    """Whole days up to yesterday, by weeks of seven, the oldest first."""

    weeks: tuple[Week, ...]
    pens: tuple[PenRecord, ...]
    taken: tuple[WeekTaken, ...]


def look_back(site: Site, now: datetime, n_weeks: int) -> LookBack:
    """Give the last weeks of a farm: 5 queries."""
    weeks = weeks_before(local_date_of(now, site.zone), n_weeks)
    turns = _turns(site.pk, weeks)
    sand_days = _sand_days(site, weeks)
    stalls = stalls_by_pen(site.pk)
    pens = [
        _record(pen, stalls.get(pen.pk, 0), turns[pen.pk], sand_days[pen.pk], n_weeks)
        for pen in _pens(site.pk, {*turns, *sand_days})
    ]
    sand_kg = [sum(record.weeks[n].sand_kg for record in pens) for n in range(n_weeks)]
    return LookBack(tuple(weeks), tuple(pens), _taken(site.pk, weeks, sand_kg))


def _pens(site_id: int, told_of: Iterable[int]) -> list[Pen]:
    """Pens in use, and those of which the weeks tell, in the order of the parlor: 1 query."""
    shown = Q(place__retired_at=None) | Q(pk__in=list(told_of))
    pens = Pen.objects.filter(shown, site_id=site_id, bed_groups__isnull=False).distinct()
    return list(pens.select_related("place").order_by("milking_rank", "pk"))


def _record(
    pen: Pen,
    n_stalls: int,
    turns: dict[int, Turns],
    sand: dict[int, list[float]],
    n_weeks: int,
) -> PenRecord:
    weeks = tuple(
        PenWeek(turns.get(n, Turns()), len(sand.get(n, ())), sum(sand.get(n, ())))
        for n in range(n_weeks)
    )
    return PenRecord(pen, n_stalls, weeks)


def _turns(site_id: int, weeks: list[Week]) -> dict[int, dict[int, Turns]]:
    """Turns of rows of beds by pen and week, as work at a visit made them due: 1 query.

    What was carried over from a part is no turn of its own: once it is done, the turn is full.
    """
    rests = WorkOrder.objects.filter(
        visit_id=OuterRef("visit_id"),
        place_id=OuterRef("place_id"),
        standing_order_id=OuterRef("standing_order_id"),
        natural_key__contains=REST,
        outcome=Outcome.DONE,
    )
    is_full = Q(outcome=Outcome.DONE) | Q(outcome=Outcome.PART, is_rest_done=True)
    rows = (
        WorkOrder.objects.filter(
            site_id=site_id,
            local_date__gte=weeks[0][0],
            local_date__lt=weeks[-1][1],
            place__kind=PlaceKind.BED_GROUP,
            standing_order__trigger=Trigger.PEN_VISIT,
        )
        .exclude(outcome=Outcome.NOT_NEEDED)
        .exclude(natural_key__contains=REST)
        .annotate(is_rest_done=Exists(rests))
        .values_list("place__bedgroup__pen_id", "local_date")
        .annotate(
            n_due=Count("pk"),
            n_full=Count("pk", filter=is_full),
            n_part=Count("pk", filter=Q(outcome=Outcome.PART, is_rest_done=False)),
            n_missed=Count("pk", filter=Q(outcome__in=(Outcome.MISSED, Outcome.COULD_NOT))),
        )
        .order_by()
    )
    found: dict[int, dict[int, Turns]] = defaultdict(lambda: defaultdict(Turns))
    for pen_id, on, *counts in rows:
        found[pen_id][week_of(on, weeks)] += Turns(*counts)
    return found


def _sand_days(site: Site, weeks: list[Week]) -> dict[int, dict[int, list[float]]]:
    """Sand into beds by pen and week, an amount for each day on which some came: 1 query."""
    start, _end = day_bounds(weeks[0][0], site.zone)
    end, _after = day_bounds(weeks[-1][1], site.zone)
    rows = (
        SandMove.objects.filter(site=site, target__kind=AccountKind.BEDS, at__gte=start, at__lt=end)
        .annotate(on=TruncDate("at", tzinfo=site.zone))
        .values_list("target__place_id", "on")
        .annotate(kg=Sum("dry_kg"))
        .order_by("on")
    )
    found: dict[int, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for pen_id, on, kg in rows:
        found[pen_id][week_of(on, weeks)].append(kg)
    return found


def _taken(site_id: int, weeks: list[Week], sand_kg: list[float]) -> tuple[WeekTaken, ...]:
    """What work that was ended took, by week: 1 query.

    Minutes as told, but where start and end were told at once, or the end was forgotten.
    """
    is_long_work = Q(duration_min__gte=LONGEST / timedelta(minutes=1))
    told = Q(started_at__lte=F("ended_at") - LEAST_SPAN)
    told &= is_long_work | Q(started_at__gte=F("ended_at") - LONGEST)
    span = ExpressionWrapper(F("ended_at") - F("started_at"), output_field=DurationField())
    minutes = Case(
        When(told, then=Cast(Extract(span, "epoch"), FloatField()) / 60),
        When(outcome=Outcome.COULD_NOT, then=Value(0.0)),
        default=F("duration_min"),
        output_field=FloatField(),
    )
    rows = (
        WorkOrder.objects.filter(
            site_id=site_id,
            local_date__gte=weeks[0][0],
            local_date__lt=weeks[-1][1],
            outcome__in=ENDED,
        )
        .annotate(minutes=minutes)
        .values_list("local_date")
        .annotate(
            person_min=Sum(F("minutes") * F("n_people"), output_field=FloatField()),
            machine_min=Sum("minutes", filter=~Q(machine_kinds=[]), default=0.0),
            n_loads=Sum("loads"),
            n_jobs=Count("pk"),
            n_planned=Count("pk", filter=~told & ~Q(outcome=Outcome.COULD_NOT)),
        )
        .order_by()
        .values_list("local_date", *SUMMED)
    )
    sums: list[dict[str, float]] = [dict.fromkeys(SUMMED, 0.0) for _week in weeks]
    for on, *values in rows:
        of_week = sums[week_of(on, weeks)]
        for name, value in zip(SUMMED, values, strict=True):
            of_week[name] += value
    return tuple(_week_taken(of, kg) for of, kg in zip(sums, sand_kg, strict=True))


def _week_taken(of: dict[str, float], sand_kg: float) -> WeekTaken:
    return WeekTaken(
        person_min=of["person_min"],
        machine_min=of["machine_min"],
        n_loads=int(of["n_loads"]),
        n_jobs=int(of["n_jobs"]),
        n_planned=int(of["n_planned"]),
        sand_kg=sand_kg,
    )
