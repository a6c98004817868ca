"""What the records say of the batches on the pads, as the computations of drying take it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np

from equipment.sandyard.models import SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.weather.calc.members import ClimateHistory

from .calc import pad
from .calc.drying import DryTarget
from .calc.layer import Floats, Layer, drained_moisture_wb_frac
from .calc.rate import PadRate
from .models import Batch, BatchStep, MoistureTest


def layer_of(practice: SandPractice) -> Layer:
    """Give the farm's layer on a pad from its settings."""
    return Layer(
        thickness_m=practice.layer_depth_m,
        dry_bulk_density_kg_m3=practice.bulk_density_kg_m3,
        theta_fc_frac=practice.field_capacity_frac,
        theta_wp_frac=practice.wilting_point_frac,
        evaporation_depth_m=practice.evaporation_depth_m,
        rew_mm=practice.rew_mm,
        kc_bare=practice.pad_kc,
    )


@dataclass(frozen=True)
class Yard:
    """A site's sand figures and recorded weather at one moment, read once for all batches."""

    site: Site
    practice: SandPractice
    climate: ClimateHistory
    at: datetime
    et0_method: str

    @cached_property
    def today(self) -> date:
        return local_date_of(self.at, self.site.zone)

    @cached_property
    def _by_day(self) -> dict[date, tuple[float, float]]:
        days = self.climate.day.astype(object)
        amounts = zip(self.climate.et0_mm, self.climate.rain_mm, strict=True)
        return dict(zip(days, amounts, strict=True))

    def spread_on(self, batch: Batch) -> date:
        return local_date_of(batch.stage_since, self.site.zone)

    def random(self, batch: Batch) -> np.random.Generator:
        """Draw the same all day, so that only news changes a forecast."""
        return np.random.default_rng([batch.pk, self.today.toordinal()])

    def observed(self, spread_on: date, until: date) -> tuple[Floats, Floats]:
        """Give ET0 and rain from a day to the one before `until`; NaN where nobody recorded one."""
        days = [spread_on + timedelta(days=n) for n in range((until - spread_on).days)]
        unknown = (np.nan, np.nan)
        rows = np.array([self._by_day.get(on, unknown) for on in days]).reshape(-1, 2)
        return rows[:, 0], rows[:, 1]

    def spread_batch(
        self, batch: Batch, rate: PadRate, until: date | None = None
    ) -> pad.SpreadBatch:
        """Give a batch as spread, with the turns reported until yesterday (or before `until`)."""
        practice, layer = self.practice, layer_of(self.practice)
        return pad.SpreadBatch(
            layer=layer,
            target=DryTarget(practice.dry_moisture_wb_frac, practice.dry_hold_d),
            spread_on=self.spread_on(batch),
            spread_h=batch.stage_since.astimezone(self.site.zone).hour,
            moisture_wb_frac=_moisture_as_spread(batch, practice, layer),
            past_turns=self._past_turns(batch, until or self.today),
            planned_turns_d=round(practice.turns_per_d),
            turned_depth_m=practice.turned_depth_m,
            rate=rate,
        )

    def _past_turns(self, batch: Batch, until: date) -> tuple[int, ...]:
        steps = BatchStep.objects.filter(batch=batch, kind="turned", at__gte=batch.stage_since)
        turns = Counter(
            local_date_of(at, self.site.zone) for at in steps.values_list("at", flat=True)
        )
        spread_on = self.spread_on(batch)
        days = range((until - spread_on).days)
        return tuple(turns[spread_on + timedelta(days=k)] for k in days)


def tests_of(yard: Yard, batch: Batch) -> list[pad.MoistureTest]:
    """Give the tests of a batch since it was spread, oldest first: 1 query."""
    rows = MoistureTest.objects.filter(batch=batch, taken_at__gte=batch.stage_since)
    tests = []
    for row in rows.order_by("taken_at"):
        local = row.taken_at.astimezone(yard.site.zone)
        tests.append(
            pad.MoistureTest(
                local.date(),
                row.moisture_wb_frac,
                row.n_spots,
                row.depth_m,
                at_h=local.hour + local.minute / 60,
            )
        )
    return tests


def _moisture_as_spread(batch: Batch, practice: SandPractice, layer: Layer) -> float:
    """Give what is left of the scooped moisture after draining on the slab."""
    drained_h = (batch.stage_since - (batch.closed_at or batch.opened_at)).total_seconds() / 3600
    return drained_moisture_wb_frac(layer, practice.scooped_moisture_wb_frac, max(drained_h, 0.0))
