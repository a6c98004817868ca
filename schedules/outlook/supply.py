"""Sand supply: how long ready sand lasts, what to buy and when, and the places a steady day needs.

It looks as far as batches on record tell: until sand scooped today could be ready at the earliest.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import Max

from equipment.sandyard.models import SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from schedules.sand.calc.ahead import (
    Days,
    Purchase,
    SandAhead,
    arrivals_kg,
    draw_supply,
    middle_eight,
    plan_buying,
    use_by_day_kg,
)
from schedules.sand.calc.dates import BEYOND
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.places import n_in_residence, pile_residence_d, share_out
from schedules.sand.calc.supply import Range, steady_balance
from schedules.sand.models import AccountKind, SandMove
from schedules.sand.queries import (
    BatchView,
    batch_views,
    bays_of,
    pile_places_of,
    stalls_by_pen,
    supply_views,
)
from schedules.sand.recovery import Recovery, recovery_of
from schedules.sand.services import practice_of

from .facts import outlook_practice_of
from .models import OutlookPractice
from .supply_facts import (
    DAY,
    N_MEMBERS,
    RECORDS_D,
    Residence,
    ResidenceSource,
    SupplyFacts,
    days_to_ready,
    residence_of,
)


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
        if not day_d < self.ahead.n_days:
            return None
        return self.ahead.start_on + timedelta(days=int(day_d))


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
    facts = _facts(site, at, views, practice)
    ahead = _ahead(facts, facts.horizon_d)
    use, recovered, make_up = _steady_kg_d(facts, recovery)
    scheduled_kg = float(facts.coming_kg.sum())
    return SandSupply(
        ahead=ahead,
        purchase=_purchase(ahead, facts.own),
        use_kg_d=middle_eight(use),
        recovered_kg_d=middle_eight(recovered),
        make_up_kg_d=middle_eight(make_up),
        bays=_bays(facts, recovered / (1 - facts.own.screening_loss_frac)),
        piles=_piles(facts, recovered, use),
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


@dataclass(frozen=True, slots=True)
class BatchAhead:
    """A batch that is not released: what it will bring [kg, dry] and the day that is likely.

    `ready_d` counts from today, infinite where it is not foreseen.
    """

    batch_id: int
    dry_kg: float
    ready_d: float


def batches_ahead(site: Site, at: datetime) -> tuple[SandAhead, list[BatchAhead], OutlookPractice]:
    """Give the dated balance with the batches that are on their way: 9 queries, 10 where no layer
    is forecast.
    """
    facts = _facts(site, at, supply_views(site.pk), practice_of(site.pk))
    batches = [
        BatchAhead(view.batch.pk, float(dry_kg), _likely_d(days_to_ready(facts, view)))
        for view, dry_kg in zip(facts.coming, facts.coming_kg, strict=True)
    ]
    return _ahead(facts, facts.horizon_d), batches, facts.own


def _likely_d(days: Days) -> float:
    """Give the day by which half of the members have it."""
    seen = np.where(days == BEYOND, np.inf, days)
    return float(np.quantile(seen, 0.5, method="inverted_cdf"))


def ready_sand(
    site: Site, at: datetime, n_days: int, left_frac: float
) -> tuple[SandAhead, OutlookPractice]:
    """Give the dated balance of ready sand alone, so many days of it: 9 queries, 10 where no layer
    is forecast. The farm's figures for a year ahead, which it rests on, come with it.

    The first day takes what its rest, `left_frac`, takes: what was bedded before has left already.
    """
    facts = _facts(site, at, supply_views(site.pk), practice_of(site.pk))
    ahead = _ahead(facts, n_days)
    use_kg = ahead.use_kg.copy()
    use_kg[:, 0] *= left_frac
    return replace(ahead, use_kg=use_kg), facts.own


def _facts(
    site: Site, at: datetime, views: Sequence[BatchView], practice: SandPractice
) -> SupplyFacts:
    """Read what the balance rests on beside live batches: 2 queries, 3 without a forecast."""
    today = local_date_of(at, site.zone)
    return SupplyFacts(
        today=today,
        site=site,
        views=tuple(views),
        practice=practice,
        own=outlook_practice_of(site.pk),
        stalls=stalls_by_pen(site.pk),
        residence=residence_of(site, views, at),
        members=draw_supply(N_MEMBERS, np.random.default_rng([site.pk, today.toordinal()])),
    )


def _sum_kg(views: Iterable[BatchView]) -> float:
    return sum((max(view.dry_kg, 0.0) for view in views), 0.0)


def _ahead(facts: SupplyFacts, n_days: int) -> SandAhead:
    members = facts.members
    ready_d = np.array([days_to_ready(facts, view) for view in facts.coming], dtype=np.int64)
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


def _steady_kg_d(facts: SupplyFacts, recovery: Recovery) -> tuple[Floats, Floats, Floats]:
    """Give each member's use, recovered after screening, and make-up on a day of this month."""
    own, members = facts.own, facts.members
    mean_kg = facts.practice.use_kg_stall_d * facts.month_frac
    uses = mean_kg * np.maximum(1 + own.use_sd_frac * members.use_z, 0.0)
    shares = np.clip(recovery.frac + recovery.sd_frac * members.recovery_z, 0.0, 1.0)
    days = [
        steady_balance(
            facts.n_stalls, float(use), float(share), screened_out_frac=own.screening_loss_frac
        )
        for use, share in zip(uses, shares, strict=True)
    ]
    return (
        np.array([day.use_kg_d for day in days]),
        np.array([day.recovered_kg_d for day in days]),
        np.array([day.make_up_kg_d for day in days]),
    )


def _purchase(ahead: SandAhead, own: OutlookPractice) -> Purchase | None:
    if own.buy_lead_d is None:
        return None
    return plan_buying(ahead, truck_kg=own.truck_kg, lead_d=own.buy_lead_d)


def _bays(facts: SupplyFacts, recovered_kg_d: Floats) -> PlacesNeeded | None:
    """Hold the bays that layers keep in use against those that are there: 1 query."""
    loads_kg = [bay.capacity_kg for bay in bays_of(facts.site.pk)]
    if not loads_kg or facts.residence.source == ResidenceSource.NONE:
        return None
    lies_d = facts.residence.of(facts.members)
    per_d = recovered_kg_d / (sum(loads_kg) / len(loads_kg))
    needed = middle_eight(n_in_residence(per_d, lies_d))
    return PlacesNeeded(needed, middle_eight(lies_d), len(loads_kg))


def _piles(facts: SupplyFacts, inflow_kg_d: Floats, use_kg_d: Floats) -> PlacesNeeded | None:
    """Hold the places that piles keep in use against those that are there: 1 query."""
    rooms_kg = [place.capacity_kg for place in pile_places_of(facts.site.pk)]
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


def _pens(facts: SupplyFacts, at: datetime) -> tuple[PenTurn, ...]:
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
