"""Reads of the sand loop that pages and API share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Prefetch, QuerySet, Sum

from equipment.barns.models import BedGroup
from equipment.sandyard.models import Bay, PilePlace, SandPractice
from equipment.site.looks import once_a_look
from equipment.site.models import Hold, HoldSubject
from equipment.site.queries import open_holds

from .calc.supply import DaysOfSand, Range, SteadyBalance, days_of_sand, steady_balance
from .ledger import batch_masses_kg
from .models import AccountKind, Batch, BatchStep, DryForecast, MoistureTest, SandMove, Stage
from .services import practice_of


@dataclass(frozen=True, slots=True)
class BatchView:
    """A batch with what a page says of it."""

    batch: Batch
    dry_kg: float
    is_held: bool
    n_turns: int
    last_test: MoistureTest | None
    forecast: DryForecast | None


@once_a_look
def batch_holds(site_id: int) -> list[Hold]:
    """Batches' holds not yet cleared, with who put them: 1 query."""
    return list(open_holds(site_id, HoldSubject.BATCH))


def live_batches(site_id: int) -> QuerySet[Batch]:
    """Batches that still hold sand, oldest first, with place, steps, tests: 3 queries."""
    return with_history(Batch.objects.filter(site_id=site_id, ended_at=None)).order_by("number")


def with_history(batches: QuerySet[Batch]) -> QuerySet[Batch]:
    """Batches with place, turns and tests, as `views_of` needs them: 3 queries."""
    return batches.select_related("place").prefetch_related(
        Prefetch("steps", queryset=BatchStep.objects.filter(kind="turned")),
        Prefetch("tests", MoistureTest.objects.select_related("by").order_by("taken_at")),
    )


def latest_forecasts(site_id: int) -> dict[int, DryForecast]:
    """Newest forecast of each batch: 1 query."""
    rows = DryForecast.objects.filter(site_id=site_id, batch__ended_at=None)
    return {
        row.batch_id: row
        for row in rows.order_by("batch_id", "-made_at", "-id").distinct("batch_id")
    }


def batch_views(site_id: int) -> list[BatchView]:
    """All live batches as a page shows them: 8 queries."""
    return views_of(site_id, list(live_batches(site_id)))


def views_of(site_id: int, batches: Sequence[Batch]) -> list[BatchView]:
    """Some batches, fetched with their history, as a page shows them: 5 queries."""
    masses = batch_masses_kg(batches)
    forecasts = latest_forecasts(site_id)
    held = {hold.subject_id for hold in batch_holds(site_id)}
    return [
        BatchView(
            batch=batch,
            dry_kg=masses[batch.pk],
            is_held=batch.pk in held,
            n_turns=len(batch.steps.all()),
            last_test=list(batch.tests.all())[-1] if batch.tests.all() else None,
            forecast=forecasts.get(batch.pk),
        )
        for batch in batches
    ]


def supply_views(site_id: int) -> list[BatchView]:
    """All live batches with mass, hold and forecast, turns and tests left out: 6 queries."""
    batches = list(Batch.objects.filter(site_id=site_id, ended_at=None).order_by("number"))
    masses, forecasts = batch_masses_kg(batches), latest_forecasts(site_id)
    held = {hold.subject_id for hold in batch_holds(site_id)}
    return [
        BatchView(
            batch=batch,
            dry_kg=masses[batch.pk],
            is_held=batch.pk in held,
            n_turns=0,
            last_test=None,
            forecast=forecasts.get(batch.pk),
        )
        for batch in batches
    ]


@dataclass(frozen=True, slots=True)
class SandStock:
    """Clean dry sand at hand, and how long it lasts above the safety stock.

    The likely use is what was bedded in the last two weeks, the farm's own figure before there is
    any; the range reaches from the lesser to the greater of the two, 10 % beyond each.
    """

    released_kg: float
    safety_stock_kg: float
    use_kg_d: float
    is_use_measured: bool
    steady: SteadyBalance

    @property
    def left(self) -> DaysOfSand:
        """Days of sand with their range; endless where nothing is used."""
        uses = self.use_kg_d, self.steady.use_kg_d
        use = Range(0.9 * min(uses), self.use_kg_d, 1.1 * max(uses))
        return days_of_sand(max(self.released_kg, 0.0), self.safety_stock_kg, use)

    @property
    def days_d(self) -> float | None:
        """Days of sand; None where nothing is used."""
        return self.left.days.likely if self.use_kg_d else None


def sand_stock(site_id: int, now: datetime) -> SandStock:
    """Released sand that nobody holds against today's use: 11 queries."""
    return stock_of(site_id, batch_views(site_id), now)


def stock_of(site_id: int, views: Iterable[BatchView], now: datetime) -> SandStock:
    """The same of all live batches, fetched before: 3 queries."""
    measured = recent_use_kg_d(site_id, now)
    practice = practice_of(site_id)
    steady = _steady(site_id, practice)
    return SandStock(
        released_kg=sum(
            v.dry_kg for v in views if v.batch.stage == Stage.RELEASED and not v.is_held
        ),
        safety_stock_kg=practice.safety_stock_kg,
        use_kg_d=measured or steady.use_kg_d,
        is_use_measured=measured is not None,
        steady=steady,
    )


def steady_day(site_id: int) -> SteadyBalance:
    """Sand used, given back and to be bought on a day by the farm's own figures: 2 queries."""
    return _steady(site_id, practice_of(site_id))


def _steady(site_id: int, practice: SandPractice) -> SteadyBalance:
    n_stalls = sum(stalls_by_pen(site_id).values())
    return steady_balance(n_stalls, practice.use_kg_stall_d, practice.recovery_frac)


@once_a_look
def stalls_by_pen(site_id: int) -> dict[int, int]:
    """Count the stalls in use: 1 query."""
    groups = BedGroup.objects.filter(site_id=site_id, place__retired_at=None)
    return dict(groups.values_list("pen_id").annotate(n=Sum("n_stalls")).order_by("pen_id"))


def bedded_kg(site_id: int, start: datetime, end: datetime) -> float:
    """Dry sand brought into beds in a span: 1 query."""
    moves = SandMove.objects.filter(
        site_id=site_id, target__kind=AccountKind.BEDS, at__gte=start, at__lt=end
    )
    return float(moves.aggregate(kg=Sum("dry_kg"))["kg"] or 0)


def recent_use_kg_d(site_id: int, now: datetime, days: int = 14) -> float | None:
    """Dry sand bedded a day over the last days, None before there is any: 1 query."""
    kg = bedded_kg(site_id, now - timedelta(days=days), now)
    return kg / days if kg > 0 else None


@once_a_look
def bays_of(site_id: int) -> list[Bay]:
    """Bays in use in their order, with their pads: 1 query."""
    bays = Bay.objects.filter(site_id=site_id, place__retired_at=None)
    bays = bays.select_related("place", "pad__place")
    return list(bays.order_by("pad__place__key", "place__key"))


@once_a_look
def pile_places_of(site_id: int) -> list[PilePlace]:
    """Pile places in use in their order: 1 query."""
    places = PilePlace.objects.filter(site_id=site_id, place__retired_at=None)
    return list(places.select_related("place").order_by("place__key"))


Live = Iterable[Batch] | None  # batches that still hold sand, where they are at hand


def bays_with_batches(site_id: int, live: Live = None) -> list[tuple[Bay, Batch | None]]:
    """Bays in their order, each with the batch on it: 2 queries."""
    live = _live(site_id) if live is None else live
    on = {batch.place_id: batch for batch in live if batch.stage == Stage.DRYING}
    return [(bay, on.get(bay.pk)) for bay in bays_of(site_id)]


def free_pile_places(site_id: int, live: Live = None) -> list[PilePlace]:
    """Pile places with nothing on them, or an open pile: 2 queries."""
    live = _live(site_id) if live is None else live
    taken = {b.place_id for b in live if b.closed_at is not None or b.stage != Stage.CURING}
    return [place for place in pile_places_of(site_id) if place.pk not in taken]


def _live(site_id: int) -> QuerySet[Batch]:
    return Batch.objects.filter(site_id=site_id, ended_at=None)


def place_for_pile(batch: Batch) -> int | None:
    """Pile place a batch would go to: an open pile with room for it, else a free place: 8 queries.

    None where there is neither.
    """
    places = free_pile_places(batch.site_id)
    piles = Batch.objects.filter(place__in=[place.pk for place in places], ended_at=None)
    held_kg = batch_masses_kg([*piles, batch])
    there_kg = {pile.place_id: held_kg[pile.pk] for pile in piles}
    fits = [p for p in places if there_kg.get(p.pk, 0) + held_kg[batch.pk] <= p.capacity_kg]
    fits.sort(key=lambda place: place.pk not in there_kg)  # stable: open piles first
    return fits[0].pk if fits else None


def beddings(site_id: int) -> QuerySet[SandMove]:
    """Moves of sand into beds, so that each pen's batches can be traced: 1 query."""
    return SandMove.objects.filter(site_id=site_id, target__kind=AccountKind.BEDS).select_related(
        "batch", "by", "target__place"
    )


def tests_between(site_id: int, start: datetime, end: datetime) -> QuerySet[MoistureTest]:
    """Moisture tests taken in a span, with batch and who: 1 query."""
    rows = MoistureTest.objects.filter(site_id=site_id, taken_at__gte=start, taken_at__lt=end)
    return rows.select_related("batch", "by")


def picked_up_untested(site_id: int, start: datetime, end: datetime) -> list[BatchStep]:
    """Pick-ups from a pad in a span before which the batch had no moisture test: 1 query."""
    tests = MoistureTest.objects.filter(batch_id=OuterRef("batch_id"), taken_at__lte=OuterRef("at"))
    steps = BatchStep.objects.filter(
        ~Exists(tests), site_id=site_id, kind="picked_up", at__gte=start, at__lt=end
    )
    return list(steps.select_related("batch").order_by("at", "pk"))
