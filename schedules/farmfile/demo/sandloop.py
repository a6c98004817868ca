"""The sand loop of the invented farm, played through day by day with the verbs people use."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import cycle
from typing import Any

import numpy as np

from crews.people.models import Worker
from equipment.barns.models import Pen
from equipment.machines.models import Machine, MachineKind
from equipment.sandyard.models import Bay, Lane, PilePlace, SandPractice
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.farmfields import Values
from equipment.site.models import Actor, Site
from equipment.site.writes import site_write
from equipment.weather.models import WeatherDay
from schedules.sand import services as sand
from schedules.sand.calc.drying import DryTarget, Turning, first_dry_day, simulate_drying
from schedules.sand.calc.layer import Layer, drained_moisture_wb_frac
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch, Stage

TURNED_D = 14  # turnings further back are left out: nobody asks for them any more
DRY_DAY_MM = 1.0  # rain at which nobody spreads, turns or picks up
HORIZON_D = 120


@dataclass
class Yard:
    """The yard's clock, its people and its places while the days are played through."""

    site: Site
    facts: Values
    now: datetime
    practice: SandPractice
    rain_mm: dict[date, float]
    et0_mm: dict[date, float]
    hands: dict[str, Actor]
    loader: Machine
    dry_on: dict[int, date] = field(default_factory=dict)

    def at(self, day: date, clock: str) -> datetime:
        return resolve(datetime.combine(day, time.fromisoformat(clock)), self.site.zone)

    def is_dry_day(self, day: date) -> bool:
        return self.rain_mm.get(day, 0.0) < DRY_DAY_MM

    def live(self, *stages: Stage) -> list[Batch]:
        batches = Batch.objects.filter(site=self.site, stage__in=stages, ended_at=None)
        return list(batches.order_by("number"))


def play_sand(site: Site, facts: Values, at: datetime) -> None:
    """Play the loop through from `history_d` days ago until now, once."""
    if Batch.objects.filter(site=site).exists():
        return
    yard = _open_yard(site, facts, at)
    today = local_date_of(at, site.zone)
    day_steps = _Steps(yard)
    with site_write(site.pk, at):
        for back in range(facts["history_d"], -1, -1):
            day = today - timedelta(days=back)
            for clock, step in day_steps.of_day():
                moment = yard.at(day, clock)
                if moment <= at:
                    step(day, moment)


def _open_yard(site: Site, facts: Values, at: datetime) -> Yard:
    weather = WeatherDay.objects.filter(site=site)
    return Yard(
        site=site,
        facts=facts,
        now=at,
        practice=sand.practice_of(site.pk),
        rain_mm=dict(weather.values_list("on", "rain_mm")),
        et0_mm=dict(weather.values_list("on", "et0_mm")),
        hands={worker.key: worker.actor for worker in Worker.objects.select_related("actor")},
        loader=Machine.objects.filter(site=site, kind=MachineKind.LOADER).order_by("key")[0],
    )


class _Steps:
    """What is done on each day, by the clock."""

    def __init__(self, yard: Yard) -> None:
        self.yard = yard
        self.lanes = list(Lane.objects.filter(site=yard.site).order_by("pk"))
        self.bays = list(Bay.objects.filter(site=yard.site).order_by("pk"))
        bought = yard.facts["bought_place"]
        places = PilePlace.objects.filter(site=yard.site).select_related("place").order_by("pk")
        self.piles = [place for place in places if place.place.key != bought]
        self.bought = next(place for place in places if place.place.key == bought)
        pens = Pen.objects.filter(site=yard.site).order_by("milking_rank")
        self.next_pen = cycle(pens)
        self.next_buckets = cycle(yard.facts["buckets"])

    def of_day(self) -> Iterator[tuple[str, Any]]:
        yield "06:30", self.cure_and_release
        yield "08:00", self.scoop
        yield "09:30", self.scoop
        yield "10:00", self.turn
        yield "11:00", self.spread
        yield "12:00", self.pick_up
        yield "13:30", self.close_piles
        yield "14:00", self.turn
        yield "14:30", self.bed
        yield "15:00", self.buy
        yield "17:00", self.scoop
        yield "18:30", self.scoop

    def _who(self, role: str) -> Any:
        return self.yard.hands[self.yard.facts[role]]

    def _said(self, moment: datetime, role: str = "scooped_by") -> dict[str, Any]:
        return {"site_id": self.yard.site.pk, "by": self._who(role), "at": moment}

    def scoop(self, day: date, moment: datetime) -> None:
        lane = self.lanes[moment.minute // 30 % len(self.lanes)]
        sand.scoop(
            lane_id=lane.pk,
            buckets=next(self.next_buckets),
            machine_id=self.yard.loader.pk,
            **self._said(moment),
        )

    def spread(self, day: date, moment: datetime) -> None:
        """Spread what has drained, oldest first, while there are free bays and no rain."""
        drained = timedelta(hours=self.yard.practice.drain_h)
        taken = {batch.place_id for batch in self.yard.live(Stage.DRYING)}
        free = [bay for bay in self.bays if bay.pk not in taken]
        for batch in self.yard.live(Stage.DRAINING):
            waits = batch.closed_at is None or batch.closed_at + drained > moment
            if waits or not free or not self.yard.is_dry_day(day):
                continue
            sand.spread(batch_id=batch.pk, bay_id=free.pop(0).pk, **self._said(moment))
            self.yard.dry_on[batch.pk] = dry_date(self.yard, day)

    def turn(self, day: date, moment: datetime) -> None:
        is_recent = (self.yard.now - moment).days < TURNED_D
        if not is_recent or not self.yard.is_dry_day(day):
            return
        for batch in self.yard.live(Stage.DRYING):
            sand.turn(batch_id=batch.pk, **self._said(moment))

    def pick_up(self, day: date, moment: datetime) -> None:
        """Test and pile what is dry, on a day without rain, while a pile may take it."""
        if not self.yard.is_dry_day(day):
            return
        for batch in self.yard.live(Stage.DRYING):
            if self.yard.dry_on[batch.pk] > day:
                continue
            place = self._open_place()
            if place is None:
                return
            self._test(batch, moment - timedelta(hours=2))
            sand.pile(batch_id=batch.pk, pile_place_id=place.pk, **self._said(moment))

    def _test(self, batch: Batch, moment: datetime) -> None:
        below = (batch.number * 7 % 11) / 1000  # spots and scales differ
        sand.add_moisture_test(
            batch_id=batch.pk,
            moisture_frac=self.yard.practice.dry_moisture_wb_frac - below,
            basis="wb",
            n_spots=5,
            depth_m=self.yard.practice.layer_depth_m,
            **self._said(moment, "tested_by"),
        )

    def _open_place(self) -> PilePlace | None:
        """The pile that is open, else the first free place."""
        live = Batch.objects.filter(site=self.yard.site, ended_at=None, place__isnull=False)
        on = {batch.place_id: batch for batch in live}
        still_open = [
            place
            for place in self.piles
            if place.pk in on
            and on[place.pk].stage == Stage.CURING
            and on[place.pk].closed_at is None
        ]
        free = [place for place in self.piles if place.pk not in on]
        return next(iter(still_open + free), None)

    def close_piles(self, day: date, moment: datetime) -> None:
        for pile in self.yard.live(Stage.CURING):
            age = moment - pile.opened_at
            if pile.closed_at is None and age.days >= self.yard.practice.pile_close_d:
                sand.close_pile(batch_id=pile.pk, **self._said(moment))

    def cure_and_release(self, day: date, moment: datetime) -> None:
        for pile in self.yard.live(Stage.CURING):
            if pile.ready_on is not None and pile.ready_on <= day:
                sand.mark_cured(batch_id=pile.pk, **self._said(moment, "tested_by"))
                sand.release(batch_id=pile.pk, **self._said(moment, "released_by"))

    def bed(self, day: date, moment: datetime) -> None:
        """Bed the day's loads from the oldest released sand; the last of a pile is a part load."""
        for _load in range(self.yard.facts["loads_a_day"]):
            released = self.yard.live(Stage.RELEASED)
            if not released:
                return
            oldest = min(released, key=lambda batch: (batch.released_at, batch.number))
            held_kg = batch_mass_kg(oldest)
            sand.bed(
                batch_id=oldest.pk,
                pen_id=next(self.next_pen).pk,
                dry_kg=min(self.yard.facts["load_kg"], held_kg),
                **self._said(moment),
            )

    def buy(self, day: date, moment: datetime) -> None:
        """Take a delivery once recycled sand is drawn, whenever its place is empty again."""
        lies_there = Batch.objects.filter(place_id=self.bought.pk, ended_at=None).exists()
        if lies_there or not self.yard.live(Stage.RELEASED):
            return
        batch = sand.receive_delivery(
            pile_place_id=self.bought.pk,
            dry_kg=self.yard.facts["bought_kg"],
            **self._said(moment),
        )
        sand.release(batch_id=batch.pk, **self._said(moment, "released_by"))


def dry_date(yard: Yard, spread_on: date) -> date:
    """When the weather that came made a load dry; past yesterday: later than anything."""
    days = [spread_on + timedelta(days=n) for n in range(HORIZON_D)]
    known = [day for day in days if day in yard.rain_mm]
    practice = yard.practice
    layer = Layer(
        thickness_m=practice.layer_depth_m,
        dry_bulk_density_kg_m3=practice.bulk_density_kg_m3,
        theta_fc_frac=practice.field_capacity_frac,
        theta_wp_frac=practice.wilting_point_frac,
        evaporation_depth_m=practice.evaporation_depth_m,
        rew_mm=practice.rew_mm,
        kc_bare=practice.pad_kc,
    )
    if not known:
        return date.max
    run = simulate_drying(
        layer,
        initial_moisture_wb_frac=drained_moisture_wb_frac(
            layer, practice.scooped_moisture_wb_frac, practice.drain_h
        ),
        et0_mm=np.array([yard.et0_mm[day] for day in known]),
        rain_mm=np.array([yard.rain_mm[day] for day in known]),
        turning=Turning((round(practice.turns_per_d),) * len(known), practice.turned_depth_m),
    )
    target = DryTarget(practice.dry_moisture_wb_frac, max(practice.dry_hold_d, 1))
    index = int(first_dry_day(run.moisture_wb_frac, target)[0])
    return known[index] + timedelta(days=1) if index >= 0 else date.max
