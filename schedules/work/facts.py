"""What standing orders rest on, read once for all of them; each part only when it is asked for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Max, Min, Q, QuerySet, Sum

from equipment.barns.models import Alley, BedGroup, Pen
from equipment.machines.queries import MachineView, machine_views
from equipment.sandyard.models import Bay, SandPractice
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.calc.recurrence import Occurrence, occurrences
from equipment.site.models import HoldSubject, Place, Site
from equipment.site.queries import open_holds
from equipment.weather.models import WeatherDay
from schedules.rounds.models import BedWindow, PenVisit
from schedules.sand.ledger import batch_masses_kg
from schedules.sand.models import Batch, DryForecast, MoistureTest, Stage

from .models import Outcome, StandingOrder, Status, WorkOrder
from .rules import calendar_rule

CATCH_UP = timedelta(days=31)  # what a longer outage left out is not made up one by one


@dataclass(frozen=True, slots=True)
class Measure:
    """How big a place is, for the minutes its work takes."""

    n_stalls: int = 0
    n_cows: int = 0
    length_m: float = 0
    area_m2: float = 0


@dataclass(frozen=True, slots=True)
class Turn:
    """How often hours-since work was done at a place, and when last."""

    n_closed: int = 0
    base_at: datetime | None = None
    open_since: datetime | None = None


class Facts:
    """The farm as the standing orders see it at one moment: at most about 28 queries."""

    def __init__(
        self, site: Site, orders: Collection[StandingOrder], now: datetime, until: datetime
    ) -> None:
        self.site = site
        self.zone = site.zone
        self.orders = {order.pk: order for order in orders}
        self.now = now
        self.until = until
        self.today = local_date_of(now, self.zone)
        self._expansions: dict[tuple[str, str, str, datetime], list[Occurrence]] = {}

    def _mine(self) -> QuerySet[WorkOrder]:
        return WorkOrder.objects.filter(site=self.site, standing_order__in=list(self.orders))

    @cached_property
    def newest(self) -> dict[int, datetime]:
        """Latest start made of each standing order: what lies before it was made or left out."""
        recent = self._mine().filter(local_date__gte=self.today - CATCH_UP)
        rows = recent.values_list("standing_order_id").annotate(at=Max("starts_after"))
        return dict(rows.order_by())

    @cached_property
    def _oldest_open(self) -> dict[int, datetime]:
        rows = self._mine().filter(status=Status.NEEDS_ACTION).values_list("standing_order_id")
        return dict(rows.annotate(at=Min("starts_after")).order_by())

    def since(self, order: StandingOrder) -> datetime:
        """From when on to look: the start of the local day of what is still open or not made."""
        window = timedelta(hours=order.trigger_rule.get("window_h", 0))  # may span midnight
        known = self.newest.get(order.pk, self.now)
        looked_at = max(min(self.now - window, known), self.now - CATCH_UP - window)
        looked_at = min(looked_at, self._oldest_open.get(order.pk, looked_at))
        return day_bounds(local_date_of(looked_at, self.zone), self.zone)[0]

    @cached_property
    def _earliest(self) -> date:
        """Local date before which no standing order looks."""
        starts = [self.since(order) for order in self.orders.values()]
        return local_date_of(min(starts, default=self.now), self.zone)

    def expand(self, rule: dict[str, Any], since: datetime) -> list[Occurrence]:
        """Instances of a calendar rule; orders that share a rule share the work."""
        key = (rule["rrule"], rule["at_local"], rule["from_on"], since)
        if key not in self._expansions:
            self._expansions[key] = occurrences(calendar_rule(rule, self.zone), since, self.until)
        return self._expansions[key]

    @cached_property
    def _places(self) -> dict[str, list[Place]]:
        by_kind: dict[str, list[Place]] = defaultdict(list)
        for place in Place.objects.filter(site=self.site, retired_at=None).order_by("key"):
            by_kind[place.kind].append(place)
        return by_kind

    def places_of(self, order: StandingOrder) -> list[Place]:
        """Places a standing order is for: all of a kind, or those it names."""
        places = self._places.get(order.target.get("kind", ""), [])
        keys = order.target.get("keys")
        return places if keys is None else [place for place in places if place.key in keys]

    @cached_property
    def pen_of(self) -> dict[int, int]:
        """Pen of each place that lies in one, pens too."""
        pens = dict(Pen.objects.filter(site=self.site).values_list("pk", "pk"))
        beds = BedGroup.objects.filter(site=self.site).values_list("pk", "pen_id")
        alleys = Alley.objects.filter(site=self.site, pen__isnull=False)
        return {**pens, **dict(beds), **dict(alleys.values_list("pk", "pen_id"))}

    @cached_property
    def measures(self) -> dict[int, Measure]:
        """Size of each place that has one."""
        stalls = dict(
            BedGroup.objects.filter(site=self.site, place__retired_at=None)
            .values_list("pen_id")
            .annotate(n=Sum("n_stalls"))
        )
        pens = Pen.objects.filter(site=self.site).values_list("pk", "n_cows")
        beds = BedGroup.objects.filter(site=self.site).values_list("pk", "n_stalls")
        alleys = Alley.objects.filter(site=self.site).values_list("pk", "length_m")
        bays = Bay.objects.filter(site=self.site).values_list("pk", "area_m2")
        return {
            **{pk: Measure(n_stalls=stalls.get(pk, 0), n_cows=n) for pk, n in pens},
            **{pk: Measure(n_stalls=n) for pk, n in beds},
            **{pk: Measure(length_m=length_m) for pk, length_m in alleys},
            **{pk: Measure(area_m2=area_m2) for pk, area_m2 in bays},
        }

    @cached_property
    def visits_of_pen(self) -> dict[int, list[PenVisit]]:
        """Each pen's visits in order, with milkings; the last of a day may end after midnight."""
        visits = PenVisit.objects.filter(
            site=self.site,
            milking__local_date__gte=self._earliest - timedelta(days=1),
            milking__starts_at__lt=self.until,
        ).select_related("milking")
        by_pen: dict[int, list[PenVisit]] = defaultdict(list)
        for visit in visits.order_by("called_at"):
            by_pen[visit.pen_id].append(visit)
        return by_pen

    @cached_property
    def windows_of_visit(self) -> dict[int, dict[int, BedWindow]]:
        """Windows of each visit by bed group."""
        ids = [visit.pk for visits in self.visits_of_pen.values() for visit in visits]
        by_visit: dict[int, dict[int, BedWindow]] = defaultdict(dict)
        for window in BedWindow.objects.filter(visit__in=ids):
            by_visit[window.visit_id][window.bed_group_id] = window
        return by_visit

    @cached_property
    def beds_on_alley(self) -> dict[int, list[int]]:
        """Bed groups that border on each alley."""
        rows = BedGroup.objects.filter(site=self.site, alley__isnull=False, place__retired_at=None)
        by_alley: dict[int, list[int]] = defaultdict(list)
        for bed_group_id, alley_id in rows.values_list("pk", "alley_id"):
            by_alley[alley_id].append(bed_group_id)
        return by_alley

    @cached_property
    def batches(self) -> list[Batch]:
        """Batches that are somewhere, not yet used up."""
        rows = Batch.objects.filter(site=self.site, ended_at=None, place__isnull=False)
        return list(rows.select_related("place"))

    @cached_property
    def oldest_released(self) -> Batch | None:
        """The batch that goes into the beds next: the oldest released one that is not held."""
        released = [
            batch
            for batch in self.batches
            if batch.stage == Stage.RELEASED and batch.pk not in self.held_batches
        ]
        return min(released, key=lambda batch: (batch.released_at, batch.pk), default=None)

    @cached_property
    def batch_dry_t(self) -> dict[int, float]:
        """Dry tonnes of each batch."""
        return {pk: kg / 1000 for pk, kg in batch_masses_kg(self.batches).items()}

    @cached_property
    def forecasts(self) -> dict[int, DryForecast]:
        """Newest forecast of each batch."""
        rows = DryForecast.objects.filter(batch__in=self.batches)
        newest = rows.order_by("batch_id", "-made_at", "-id").distinct("batch_id")
        return {forecast.batch_id: forecast for forecast in newest}

    @cached_property
    def practice(self) -> SandPractice:
        """The farm's figures for its sand."""
        return SandPractice.objects.filter(site=self.site).first() or SandPractice()

    @cached_property
    def tests(self) -> dict[int, list[MoistureTest]]:
        """Moisture tests of each batch since its stage began, in order."""
        since = {batch.pk: batch.stage_since for batch in self.batches}
        found: dict[int, list[MoistureTest]] = defaultdict(list)
        for test in MoistureTest.objects.filter(batch__in=since).order_by("taken_at", "pk"):
            if test.taken_at >= since[test.batch_id]:
                found[test.batch_id].append(test)
        return found

    @cached_property
    def held_batches(self) -> set[int]:
        """Batches that a named person took out of use."""
        return set(open_holds(self.site.pk, HoldSubject.BATCH).values_list("subject_id", flat=True))

    @cached_property
    def machines(self) -> list[MachineView]:
        """Machines with what is due on them."""
        return machine_views(self.site.pk)

    @cached_property
    def weather(self) -> list[WeatherDay]:
        """Days of weather from a week before anything is looked for."""
        from_on = self._earliest - timedelta(days=8)
        rows = WeatherDay.objects.filter(site=self.site, on__gte=from_on)
        return list(rows.order_by("on", "station_id"))

    @cached_property
    def turns(self) -> dict[tuple[int, int], Turn]:
        """How far the hours-since work of each (standing order, place) has come."""
        done = Q(status=Status.COMPLETED)
        closed = Q(status__in=[Status.COMPLETED, Status.CANCELLED])
        rows = (
            self._mine()
            .filter(cycle__isnull=False)
            .exclude(outcome=Outcome.NOT_NEEDED)
            .values_list("standing_order_id", "place_id")
            .annotate(
                n_closed=Max("cycle", filter=closed),
                done_at=Max("ended_at", filter=done),
                missed_from=Max("starts_after", filter=Q(outcome=Outcome.MISSED)),
                open_since=Min("starts_after", filter=Q(status=Status.NEEDS_ACTION)),
            )
            .order_by()
        )
        return {
            (order_id, place_id): Turn(n or 0, _latest(done_at, missed_from), open_since)
            for order_id, place_id, n, done_at, missed_from, open_since in rows
        }


def _latest(*instants: datetime | None) -> datetime | None:
    known = [at for at in instants if at is not None]
    return max(known) if known else None
