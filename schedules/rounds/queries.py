"""Reads of the day's clock that pages and API share."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import accumulate

from django.db.models import Max, Prefetch, QuerySet
from django.db.models.functions import Coalesce, Greatest

from equipment.flushing.visits import FlushVisit, UsableSpan

from . import calc
from .clock import ParlorSetup, expected_times, facts_of, load_setup, site_parlor, time_milking
from .models import BedWindow, Milking, PenVisit

LONGEST_VISIT = timedelta(days=2)  # none is away, or has its beds open, so long after its call
QUEUE_REACH = timedelta(hours=1)  # a full tank lets its runs wait; none waits as long as this

RELEASE = timedelta(minutes=calc.WindowRules(flush_min=0).release_min)


def with_windows(milkings: QuerySet[Milking]) -> QuerySet[Milking]:
    """Milkings with visits in their order on the deck, pens and windows: 3 queries."""
    return milkings.prefetch_related(Prefetch("visits", _with_windows(PenVisit.objects.all())))


def _with_windows(visits: QuerySet[PenVisit]) -> QuerySet[PenVisit]:
    rows = BedWindow.objects.select_related("bed_group__place").order_by("bed_group_id")
    return (
        visits.select_related("pen__place")
        .prefetch_related(Prefetch("windows", rows))
        .order_by("milking_id", "position")
    )


def milkings_of_day(site_id: int, local_date: date) -> QuerySet[Milking]:
    """A local date's milkings with visits, pens and windows: 3 queries."""
    return with_windows(Milking.objects.filter(site_id=site_id, local_date=local_date))


def visits_between(site_id: int, start: datetime, end: datetime) -> QuerySet[PenVisit]:
    """Visits that reach into [start, end), with milkings, pens and windows: 2 queries.

    A visit lasts from its call until its last cow is back or its last row of beds closes.
    """
    visits = _with_windows(_reaching_into(site_id, start, end))
    return visits.select_related("milking").order_by("called_at", "pk")


def _reaching_into(site_id: int, start: datetime, end: datetime) -> QuerySet[PenVisit]:
    """Visits called so long before that they may still reach in, then those that do."""
    closes_at = Coalesce(Max("windows__closes_at"), "last_back_at")
    return (
        PenVisit.objects.filter(
            site_id=site_id, called_at__gt=start - LONGEST_VISIT, called_at__lt=end
        )
        .alias(over_at=Greatest(closes_at, "last_back_at"))
        .filter(over_at__gt=start)
    )


def flush_visits(site_id: int, start: datetime, end: datetime) -> list[FlushVisit]:
    """What flushing needs to know of the visits around [start, end): 4 queries.

    Alleys get the usable windows of their rows without the release, which follows the flush.
    """
    visits = _reaching_into(site_id, start - QUEUE_REACH, end + QUEUE_REACH)
    spans = _flush_spans(list(visits.values_list("pk", flat=True)))
    parlor = site_parlor(site_id)
    close = timedelta(minutes=parlor.close_buffer_min if parlor else 0.0)
    return [
        FlushVisit(
            pen_id=visit.pen_id,
            key=f"{visit.milking.local_date}/{visit.milking.slot}",
            # A pen without beds is flushed while it is empty.
            spans=spans[visit.pk]
            or (_flush_span(None, visit.last_out_at, visit.first_back_at - close),),
        )
        for visit in visits.select_related("milking")
    ]


def _flush_spans(visit_ids: list[int]) -> dict[int, tuple[UsableSpan, ...]]:
    windows = BedWindow.objects.filter(visit_id__in=visit_ids)
    spans: dict[int, tuple[UsableSpan, ...]] = defaultdict(tuple)
    rows = windows.values_list("visit_id", "bed_group__alley_id", "usable_from", "usable_until")
    for visit_id, alley_id, start_at, end_at in rows:
        spans[visit_id] += (_flush_span(alley_id, start_at, end_at),)
    return spans


def _flush_span(alley_id: int | None, start_at: datetime, end_at: datetime) -> UsableSpan:
    return UsableSpan(alley_id, start_at, max(start_at, end_at - RELEASE))


@dataclass(frozen=True, slots=True)
class ParlorDayView:
    """A local date's milkings as they are planned and go, with what they were timed by."""

    setup: ParlorSetup
    local_date: date
    milkings: list[Milking]
    clock: calc.ClockDay


def view_day(site_id: int, local_date: date) -> ParlorDayView | None:
    """The parlor's day: 8 queries; None without a parlor or a milking."""
    milkings = list(milkings_of_day(site_id, local_date))
    parlor = site_parlor(site_id)
    if parlor is None or not milkings:
        return None
    setup = load_setup(parlor)
    return ParlorDayView(setup, local_date, milkings, _day_clock(setup, local_date, milkings))


def warnings_of(
    view: ParlorDayView | None, *, bed_work_min: Mapping[calc.BedWorkKey, float] | None = None
) -> list[calc.DayWarning]:
    """What does not fit in a day's milkings. No query.

    Pens away over the limit, beds that cannot be finished, milkings that run into the next, a
    day that does not close. Pens and bed groups are named by their place's id as text. Without
    `bed_work_min` (work by milking and row) only windows without any room are named.
    """
    if view is None:
        return []
    parlor = view.setup.parlor
    return list(
        calc.find_warnings(
            view.clock,
            away_limit_min=parlor.away_limit_min,
            away_day_limit_min=parlor.away_day_limit_min,
            bed_work_min=bed_work_min or {},
        )
    )


def _day_clock(setup: ParlorSetup, local_date: date, milkings: list[Milking]) -> calc.ClockDay:
    """The day as its rows have it, set against the starts that the farm means to keep."""
    timed = [_as_stored(setup, milking) for milking in milkings]
    meant = setup.planned_starts(local_date)
    starts = _rising([meant.get(milking.slot, milking.starts_at) for milking in milkings])
    next_day = min(setup.planned_starts(local_date + timedelta(days=1)).values(), default=None)
    day = calc.ParlorDay(
        parlor=setup.deck,
        milkings=tuple(
            replace(clock.day.milkings[0], starts_at=starts_at)
            for clock, starts_at in zip(timed, starts, strict=True)
        ),
        wash_min=setup.parlor.wash_min,
        next_day_starts_at=next_day if next_day and next_day > starts[-1] else None,
    )
    return calc.ClockDay(day, {}, tuple(clock.milkings[0] for clock in timed))


def _as_stored(setup: ParlorSetup, milking: Milking) -> calc.ClockDay:
    visits = list(milking.visits.all())
    return time_milking(
        setup,
        slot=milking.slot,
        starts_at=milking.starts_at,
        free_from=None,
        pens=[(visit.pen_id, visit.n_cows) for visit in visits],
        facts=facts_of(expected_times(setup, milking, visits)),
    )


def _rising(starts: list[datetime]) -> list[datetime]:
    """Part starts that the spring gap lays on one instant; a day of calc has none at once."""
    return list(accumulate(starts, lambda last, at: max(at, last + timedelta(seconds=1))))
