"""Sand supply: how long ready sand lasts, what to buy and when, and the places a steady day needs.

It looks as far as batches on record tell: until sand scooped today could be ready at the earliest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cached_property

import numpy as np
from django.db.models import Max, Sum

from equipment.barns.models import BedGroup
from equipment.sandyard.models import Bay, PilePlace, SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from schedules.sand.calc.ahead import (
    N_MONTHS,
    Days,
    Purchase,
    SandAhead,
    SupplyMembers,
    arrivals_kg,
    draw_supply,
    middle_eight,
    offsets_at,
    plan_buying,
    use_by_day_kg,
)
from schedules.sand.calc.dates import BEYOND, DateDistribution, PileRule, ready_dates
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.places import n_in_residence, pile_residence_d, share_out
from schedules.sand.calc.supply import Range, steady_balance
from schedules.sand.models import AccountKind, BatchStep, SandMove, Stage
from schedules.sand.queries import BatchView, batch_views
from schedules.sand.recovery import Recovery, recovery_of
from schedules.sand.services import practice_of

from .facts import outlook_practice_of
from .models import OutlookPractice

N_MEMBERS = 400
DAY = timedelta(days=1)
RECORDS_D = 28  # of layers picked up: recent enough that the weather is still this season's
PICK_UP_D = PileRule(0, 0).pick_up_after_d


class ResidenceSource(StrEnum):
    """What tells how long a layer lies on a pad."""

    FORECASTS = "forecasts"  # of the layers that lie there now
    RECORDS = "records"  # of the layers picked up in the last weeks
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Residence:
    """Equally likely days from spreading to pick-up, sorted; endless past the forecast's horizon.

    `n` counts the layers that they are of.
    """

    source: ResidenceSource
    days_d: Floats
    n: int

    def of(self, members: SupplyMembers) -> Floats:
        """Give each member its days. [d]"""
        found: Floats = self.days_d[(members.rank_frac * self.days_d.size).astype(int)]
        return found


@dataclass(frozen=True, slots=True)
class PlacesNeeded:
    """How many bays or pile places a steady day of this month keeps in use, and how many are."""

    needed: Range
    residence_d: Range
    n_there: int


@dataclass(frozen=True, slots=True)
class BatchShare:
    """So much of a batch."""

    batch_id: int
    number: int
    dry_kg: float


@dataclass(frozen=True, slots=True)
class PenTurn:
    """What a pen's beds have lost since they last got sand, and from which batches it comes.

    `since_d` is None where none came in four weeks; the loss is then one day's. `batches` is less
    than the loss where released sand does not reach.
    """

    pen_id: int
    since_d: int | None
    lost_kg: float
    batches: tuple[BatchShare, ...]


@dataclass(frozen=True, slots=True)
class SandSupply:
    """What the farm's figures say of its sand. Ranges are eight chances in ten; masses are dry.

    `purchase` is None where the farm gives no `buy_lead_d`; `bays` and `piles` where it has none
    or nothing tells how long they are used. `later_kg` is ready after the days looked at,
    `held_kg` waits for a hold to be cleared: neither is in the balance.
    """

    ahead: SandAhead
    purchase: Purchase | None
    use_kg_d: Range
    recovered_kg_d: Range
    make_up_kg_d: Range
    bays: PlacesNeeded | None
    piles: PlacesNeeded | None
    residence: Residence
    recovery: Recovery
    practice: SandPractice
    own: OutlookPractice
    n_stalls: int
    month_frac: float
    later_kg: float
    held_kg: float
    pens: tuple[PenTurn, ...]

    @property
    def days_d(self) -> Range:
        """Whole days until ready sand is below the safety stock; endless if that is not seen."""
        return middle_eight(self.ahead.days_d)

    def day_on(self, day_d: float) -> date | None:
        """Give the date of a day; None past the horizon."""
        return self.ahead.start_on + timedelta(days=int(day_d)) if math.isfinite(day_d) else None


def sand_supply(site: Site, at: datetime) -> SandSupply:
    """Give it of the farm as it stands: 17 queries, 18 where no layer is forecast."""
    views, practice = batch_views(site.pk), practice_of(site.pk)
    return supply_of(site, at, views, practice, recovery_of(site.pk, at))


def supply_of(
    site: Site,
    at: datetime,
    views: Sequence[BatchView],
    practice: SandPractice,
    recovery: Recovery,
) -> SandSupply:
    """Give it of live batches and figures fetched before: 5 queries, 6 where none is forecast."""
    today = local_date_of(at, site.zone)
    facts = _Facts(
        today=today,
        site=site,
        views=tuple(views),
        practice=practice,
        own=outlook_practice_of(site.pk),
        recovery=recovery,
        stalls=_stalls_by_pen(site.pk),
        residence=_residence(site, views, at),
        members=draw_supply(N_MEMBERS, np.random.default_rng([site.pk, today.toordinal()])),
    )
    ahead = _ahead(facts)
    use, recovered, make_up = _steady_kg_d(facts)
    scheduled_kg = float(facts.coming_kg.sum())
    return SandSupply(
        ahead=ahead,
        purchase=_purchase(ahead, facts.own),
        use_kg_d=middle_eight(use),
        recovered_kg_d=middle_eight(recovered),
        make_up_kg_d=middle_eight(make_up),
        bays=_bays(facts, recovered),
        piles=_piles(facts, recovered * (1 - facts.own.screening_loss_frac), use),
        residence=facts.residence,
        recovery=recovery,
        practice=practice,
        own=facts.own,
        n_stalls=facts.n_stalls,
        month_frac=facts.month_frac,
        later_kg=max(scheduled_kg - float(np.median(ahead.arrive_kg.sum(axis=1))), 0.0),
        held_kg=_sum_kg(view for view in views if view.is_held),
        pens=_pens(facts, at),
    )


@dataclass(frozen=True)
class _Facts:
    """What all of it is reckoned from, read once."""

    today: date
    site: Site
    views: tuple[BatchView, ...]
    practice: SandPractice
    own: OutlookPractice
    recovery: Recovery
    stalls: dict[int, int]  # by pen
    residence: Residence
    members: SupplyMembers

    @property
    def n_stalls(self) -> int:
        return sum(self.stalls.values())

    @cached_property
    def released(self) -> list[BatchView]:
        """Released batches, the oldest release first."""
        views = [view for view in self.free if view.batch.stage == Stage.RELEASED]
        return sorted(views, key=lambda view: (view.batch.released_at, view.batch.number))

    @cached_property
    def free(self) -> list[BatchView]:
        """Batches that nobody holds."""
        return [view for view in self.views if not view.is_held]

    @cached_property
    def coming(self) -> list[BatchView]:
        """Those of them that are not released yet."""
        return [view for view in self.free if view.batch.stage != Stage.RELEASED]

    @cached_property
    def coming_kg(self) -> Floats:
        """What each will bring: a layer that is picked up yet loses the screening loss."""
        kept = 1 - self.own.screening_loss_frac
        on_way = (Stage.DRAINING, Stage.DRYING)
        return np.array(
            [max(v.dry_kg, 0.0) * (kept if v.batch.stage in on_way else 1) for v in self.coming]
        )

    @property
    def season_frac(self) -> Sequence[float]:
        return self.own.season_frac or [1.0] * N_MONTHS

    @property
    def month_frac(self) -> float:
        return float(self.season_frac[self.today.month - 1])

    @property
    def drain_d(self) -> int:
        return math.ceil(self.practice.drain_h / 24)

    @property
    def horizon_d(self) -> int:
        """Days until sand scooped today can be ready at the earliest; a week past the lead time."""
        earliest_d = self.drain_d + self.practice.dry_hold_d + PICK_UP_D + self.practice.cure_d
        return max(earliest_d, (self.own.buy_lead_d or 0) + 7)

    def age_d(self, view: BatchView) -> int:
        return (self.today - local_date_of(view.batch.stage_since, self.site.zone)).days

    @cached_property
    def pile_opened_on(self) -> date | None:
        """Day on which the pile that still takes sand was begun."""
        piles = [v.batch for v in self.views if _is_open_pile(v)]
        opened_at = max((pile.opened_at for pile in piles), default=None)
        return local_date_of(opened_at, self.site.zone) if opened_at else None


def _is_open_pile(view: BatchView) -> bool:
    return view.batch.stage == Stage.CURING and view.batch.closed_at is None


def _sum_kg(views: Iterable[BatchView]) -> float:
    return sum((max(view.dry_kg, 0.0) for view in views), 0.0)


def _ahead(facts: _Facts) -> SandAhead:
    n_days, members = facts.horizon_d, facts.members
    ready_d = np.array([_ready_d(facts, view) for view in facts.coming], dtype=np.int64)
    return SandAhead(
        start_on=facts.today,
        opening_kg=_sum_kg(facts.released),
        safety_kg=facts.practice.safety_stock_kg,
        arrive_kg=arrivals_kg(facts.coming_kg, ready_d.reshape(-1, N_MEMBERS).T, n_days),
        use_kg=use_by_day_kg(
            facts.n_stalls * facts.practice.use_kg_stall_d,
            facts.season_frac,
            facts.today,
            n_days,
            use_sd_frac=facts.own.use_sd_frac,
            use_z=members.use_z,
        ),
    )


def _ready_d(facts: _Facts, view: BatchView) -> Days:
    """Give each member's day on which a batch may be released."""
    batch, rank = view.batch, facts.members.rank_frac
    if batch.stage == Stage.CURED:
        return np.zeros(rank.size, dtype=np.int64)
    if batch.stage == Stage.CURING:
        return np.full(rank.size, _cured_in_d(facts, view), dtype=np.int64)
    rule = PileRule(facts.practice.pile_close_d, batch.cure_d)
    opened_on = facts.pile_opened_on if batch.stage == Stage.DRYING else None
    return offsets_at(ready_dates(_dry(facts, view), rule, opened_on=opened_on), rank)


def _cured_in_d(facts: _Facts, view: BatchView) -> int:
    """Days until a pile is cured; one that is open closes on its last day, or today."""
    batch = view.batch
    if batch.ready_on is not None:
        return max((batch.ready_on - facts.today).days, 0)
    if batch.closed_at is not None:
        closed_on = local_date_of(batch.closed_at, facts.site.zone)
        return max((closed_on - facts.today).days + batch.cure_d, 0)
    begun_on = local_date_of(batch.opened_at, facts.site.zone)
    return max((begun_on - facts.today).days + facts.practice.pile_close_d, 0) + batch.cure_d


def _dry(facts: _Facts, view: BatchView) -> DateDistribution:
    """Give the days on which a layer is dry: its forecast, else by what layers take."""
    if view.batch.stage == Stage.DRYING and view.forecast and view.forecast.dots:
        dots = view.forecast.dots
        offset_d = np.array(
            [
                max((date.fromisoformat(dot) - facts.today).days, 0) if dot else BEYOND
                for dot in dots
            ]
        )
    else:
        spread_d = -facts.age_d(view)
        if view.batch.stage == Stage.DRAINING:
            spread_d = max(facts.drain_d + spread_d, 0) if view.batch.closed_at else facts.drain_d
        days_d = spread_d + facts.residence.days_d - PICK_UP_D
        offset_d = np.where(np.isfinite(days_d), np.maximum(days_d, 0), BEYOND).astype(np.int64)
    return DateDistribution(facts.today, offset_d, np.full(offset_d.size, 1 / offset_d.size))


def _residence(site: Site, views: Iterable[BatchView], at: datetime) -> Residence:
    """Ask the layers on the pads; where none is forecast, those picked up lately: 1 query."""
    foretold = [
        (local_date_of(view.batch.stage_since, site.zone), view.forecast.dots)
        for view in views
        if view.batch.stage == Stage.DRYING and view.forecast and view.forecast.dots
    ]
    days_d = [
        (date.fromisoformat(dot) - spread_on).days + PICK_UP_D if dot else math.inf
        for spread_on, dots in foretold
        for dot in dots
    ]
    if days_d:
        return Residence(ResidenceSource.FORECASTS, np.sort(np.maximum(days_d, 0.0)), len(foretold))
    recorded_d = _recorded_d(site.pk, at)
    if recorded_d:
        return Residence(ResidenceSource.RECORDS, np.sort(recorded_d), len(recorded_d))
    return Residence(ResidenceSource.NONE, np.array([math.inf]), 0)


def _recorded_d(site_id: int, at: datetime) -> list[float]:
    """Days that layers picked up in the last weeks had lain on their pads: 1 query."""
    steps = BatchStep.objects.filter(site_id=site_id, kind__in=("spread", "picked_up"), at__lte=at)
    steps = steps.filter(batch__ended_at__gt=at - RECORDS_D * DAY).order_by("at")
    spread_at: dict[int, datetime] = {}
    days_d = []
    for batch_id, kind, when in steps.values_list("batch_id", "kind", "at"):
        if kind == "spread":
            spread_at[batch_id] = when
        elif batch_id in spread_at:
            days_d.append((when - spread_at[batch_id]) / DAY)
    return days_d


def _steady_kg_d(facts: _Facts) -> tuple[Floats, Floats, Floats]:
    """Give each member's use, recovered before screening, and make-up on a day of this month."""
    own, recovery, members = facts.own, facts.recovery, facts.members
    mean_kg = facts.practice.use_kg_stall_d * facts.month_frac
    uses = mean_kg * np.maximum(1 + own.use_sd_frac * members.use_z, 0.0)
    shares = np.clip(recovery.frac + recovery.sd_frac * members.recovery_z, 0.0, 1.0)
    days = [
        steady_balance(
            facts.n_stalls, float(use), float(share), screened_out_frac=own.screening_loss_frac
        )
        for use, share in zip(uses, shares, strict=True)
    ]
    use_kg_d = np.array([day.use_kg_d for day in days])
    return use_kg_d, use_kg_d * shares, np.array([day.make_up_kg_d for day in days])


def _purchase(ahead: SandAhead, own: OutlookPractice) -> Purchase | None:
    if own.buy_lead_d is None:
        return None
    return plan_buying(ahead, truck_kg=own.truck_kg, lead_d=own.buy_lead_d)


def _bays(facts: _Facts, recovered_kg_d: Floats) -> PlacesNeeded | None:
    """Hold the bays that layers keep in use against those that are there: 1 query."""
    bays = Bay.objects.filter(site_id=facts.site.pk, place__retired_at=None)
    loads_kg = list(bays.values_list("capacity_kg", flat=True))
    if not loads_kg or facts.residence.source == ResidenceSource.NONE:
        return None
    lies_d = facts.residence.of(facts.members)
    per_d = recovered_kg_d / (sum(loads_kg) / len(loads_kg))
    needed = middle_eight(n_in_residence(per_d, lies_d))
    return PlacesNeeded(needed, middle_eight(lies_d), len(loads_kg))


def _piles(facts: _Facts, inflow_kg_d: Floats, use_kg_d: Floats) -> PlacesNeeded | None:
    """Hold the places that piles keep in use against those that are there: 1 query."""
    places = PilePlace.objects.filter(site_id=facts.site.pk, place__retired_at=None)
    rooms_kg = list(places.values_list("capacity_kg", flat=True))
    if not rooms_kg:
        return None
    per_d, lies_d = pile_residence_d(
        inflow_kg_d,
        use_kg_d,
        place_kg=sum(rooms_kg) / len(rooms_kg),
        close_d=max(facts.practice.pile_close_d, 1),
        cure_d=facts.practice.cure_d,
    )
    needed = middle_eight(n_in_residence(per_d, lies_d))
    return PlacesNeeded(needed, middle_eight(lies_d), len(rooms_kg))


def _stalls_by_pen(site_id: int) -> dict[int, int]:
    """Count the stalls in use: 1 query."""
    groups = BedGroup.objects.filter(site_id=site_id, place__retired_at=None)
    return dict(groups.values_list("pen_id").annotate(n=Sum("n_stalls")).order_by("pen_id"))


def _pens(facts: _Facts, at: datetime) -> tuple[PenTurn, ...]:
    """Serve the pens that have waited longest first, from the oldest released on: 1 query."""
    moves = SandMove.objects.filter(
        site_id=facts.site.pk, target__kind=AccountKind.BEDS, at__gte=at - RECORDS_D * DAY
    )
    last_at = dict(moves.values_list("target__place_id").annotate(at=Max("at")))
    since_d = {
        pen_id: (facts.today - local_date_of(last_at[pen_id], facts.site.zone)).days
        if pen_id in last_at
        else None
        for pen_id in facts.stalls
    }
    waits = [pen_id for pen_id, days in since_d.items() if days != 0]
    waits.sort(key=lambda pen_id: -(since_d[pen_id] or RECORDS_D))
    loss_kg_d = facts.practice.use_kg_stall_d * facts.month_frac
    lost_kg = np.array([facts.stalls[pen] * loss_kg_d * (since_d[pen] or 1) for pen in waits])
    batch_kg = np.array([max(view.dry_kg, 0.0) for view in facts.released])
    taken_kg = share_out(lost_kg, batch_kg)
    return tuple(
        PenTurn(pen_id, since_d[pen_id], float(lost), _shares(facts.released, row))
        for pen_id, lost, row in zip(waits, lost_kg, taken_kg, strict=True)
    )


def _shares(released: Iterable[BatchView], taken_kg: Floats) -> tuple[BatchShare, ...]:
    return tuple(
        BatchShare(view.batch.pk, view.batch.number, float(kg))
        for view, kg in zip(released, taken_kg, strict=True)
        if kg > 0
    )
