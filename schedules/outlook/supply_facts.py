"""What the supply of sand is reckoned from: stalls, batches on their way, how long layers lie."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cached_property

import numpy as np

from equipment.sandyard.models import SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from schedules.sand.calc.ahead import N_MONTHS, Days, SupplyMembers, offsets_at
from schedules.sand.calc.dates import BEYOND, DateDistribution, PileRule, ready_dates
from schedules.sand.calc.layer import Floats
from schedules.sand.models import BatchStep, Stage
from schedules.sand.queries import BatchView

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


@dataclass(frozen=True)
class SupplyFacts:
    """What all of it is reckoned from, read once."""

    today: date
    site: Site
    views: tuple[BatchView, ...]
    practice: SandPractice
    own: OutlookPractice
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


def days_to_ready(facts: SupplyFacts, view: BatchView) -> Days:
    """Give each member's day on which a batch may be released."""
    batch, rank = view.batch, facts.members.rank_frac
    if batch.stage == Stage.CURED:
        return np.zeros(rank.size, dtype=np.int64)
    if batch.stage == Stage.CURING:
        return np.full(rank.size, _cured_in_d(facts, view), dtype=np.int64)
    rule = PileRule(facts.practice.pile_close_d, batch.cure_d)
    opened_on = facts.pile_opened_on if batch.stage == Stage.DRYING else None
    return offsets_at(ready_dates(_dry(facts, view), rule, opened_on=opened_on), rank)


def _cured_in_d(facts: SupplyFacts, view: BatchView) -> int:
    """Days until a pile is cured; one that is open closes on its last day, or today."""
    batch = view.batch
    if batch.ready_on is not None:
        return max((batch.ready_on - facts.today).days, 0)
    if batch.closed_at is not None:
        closed_on = local_date_of(batch.closed_at, facts.site.zone)
        return max((closed_on - facts.today).days + batch.cure_d, 0)
    begun_on = local_date_of(batch.opened_at, facts.site.zone)
    return max((begun_on - facts.today).days + facts.practice.pile_close_d, 0) + batch.cure_d


def _dry(facts: SupplyFacts, view: BatchView) -> DateDistribution:
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


def residence_of(site: Site, views: Iterable[BatchView], at: datetime) -> Residence:
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
