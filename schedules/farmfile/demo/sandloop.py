"""The sand loop of the invented farm, played through day by day up to now."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, time, timedelta
from itertools import cycle

import numpy as np

from crews.people.models import Worker
from equipment.barns.models import Pen
from equipment.machines.models import Machine, MachineKind
from equipment.sandyard.models import Bay, Lane, PilePlace, Slab
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.farmfields import Values
from equipment.site.models import Place, Site
from equipment.site.writes import site_write
from equipment.weather.models import WeatherDay
from schedules.sand.calc.drying import DryTarget, Turning, first_dry_day, simulate_drying
from schedules.sand.calc.layer import drained_moisture_wb_frac
from schedules.sand.calc.supply import bucket_dry_kg
from schedules.sand.models import Batch, Stage
from schedules.sand.services import bay_load_kg, practice_of
from schedules.sand.yard import layer_of

from .sandbook import Said, SandBook, is_due

TURNED_D = 60  # turnings further back are left out: bays learn their rate from these
DRY_DAY_MM = 1.0  # rain at which nobody spreads, turns or picks up
HORIZON_D = 60
Step = Callable[[date, datetime], None]


def play_sand(site: Site, facts: Values, at: datetime) -> None:
    """Play the loop through from `history_d` days ago until now, once."""
    if Batch.objects.filter(site=site).exists():
        return
    today = local_date_of(at, site.zone)
    loop = SandLoop(site, facts, at)
    for back in range(facts["history_d"], -1, -1):
        day = today - timedelta(days=back)
        for clock, step in loop.day_steps():
            moment = resolve(datetime.combine(day, time.fromisoformat(clock)), site.zone)
            if moment <= at:
                step(day, moment)
    with site_write(site.pk, at) as write:
        loop.book.write()
        write.touch()


class SandLoop:
    """The yard, its people and its weather; what is done on each day, by the clock."""

    def __init__(self, site: Site, facts: Values, now: datetime) -> None:
        self.facts, self.now = facts, now
        self.practice = practice_of(site.pk)
        self.book = SandBook(site, self.practice)
        weather = WeatherDay.objects.filter(site=site)
        self.rain_mm: dict[date, float] = dict(weather.values_list("on", "rain_mm"))
        self.et0_mm: dict[date, float] = dict(weather.values_list("on", "et0_mm"))
        workers = Worker.objects.filter(site=site).select_related("actor")
        self.actors = {worker.key: worker.actor for worker in workers}
        self.loader = Machine.objects.filter(site=site, kind=MachineKind.LOADER).order_by("key")[0]
        self.load_kg = bay_load_kg(site.pk)
        self.lanes = cycle(_places(Lane, site))
        self.slab = _places(Slab, site)[0]
        self.bays = _places(Bay, site)
        piles = PilePlace.objects.filter(site=site).select_related("place").order_by("pk")
        places = {pile.place.key: pile for pile in piles}
        self.bought = places.pop(facts["bought_place"]).place
        self.piles = list(places.values())
        self.pens = cycle(_places(Pen, site))
        self.buckets = cycle(facts["buckets"])
        self.dry_on: dict[int, date] = {}
        self.evenings: dict[int, dict[date, float]] = {}  # moisture of the layer, by batch

    def day_steps(self) -> Iterator[tuple[str, Step]]:
        yield "06:30", self.cure_and_release
        yield "08:20", self.scoop
        yield "09:20", self.scoop
        yield "10:00", self.turn
        yield "11:00", self.spread
        yield "12:00", self.pick_up
        yield "13:30", self.close_piles
        yield "14:00", self.turn
        yield "14:30", self.bed
        yield "15:00", self.buy
        yield "17:20", self.scoop
        yield "18:20", self.scoop

    def scoop(self, day: date, moment: datetime) -> None:
        buckets, said = next(self.buckets), self._said("scooped_by", moment)
        mass = bucket_dry_kg(
            buckets,
            bucket_m3=self.loader.bucket_m3 or 3.0,
            fill_frac=self.loader.fill_frac,
            moisture_wb_frac=self.practice.scooped_moisture_wb_frac,
        )
        self.book.scoop(self.slab, next(self.lanes), mass, buckets, said)
        for batch in self.book.live(Stage.DRAINING):
            if batch.closed_at is None and self.book.held_kg[batch.number] >= self.load_kg:
                self.book.close(batch, said)

    def spread(self, day: date, moment: datetime) -> None:
        """Spread what has drained, oldest first, while there are free bays and no rain."""
        free = [bay for bay in self.bays if self.book.lying_on(bay.pk) is None]
        for batch in list(self.book.live(Stage.DRAINING)):
            closed_at = batch.closed_at
            if closed_at is None or not is_due(closed_at, self.practice.drain_h, moment):
                continue
            if free and self._is_dry(day):
                self.book.spread(batch, free.pop(0), self._said("scooped_by", moment))
                self.dry_on[batch.number], self.evenings[batch.number] = self._dry(day)

    def turn(self, day: date, moment: datetime) -> None:
        if (self.now - moment).days < TURNED_D and self._is_dry(day):
            for batch in self.book.live(Stage.DRYING):
                self.book.turn(batch, self._said("scooped_by", moment))

    def pick_up(self, day: date, moment: datetime) -> None:
        """Test and pile what is dry, on a day without rain, while a pile may take it."""
        for batch in list(self.book.live(Stage.DRYING)):
            if self.dry_on[batch.number] > day or not self._is_dry(day):
                continue
            place = self._pile_for(self.book.held_kg[batch.number], day, moment)
            if place is None:
                return
            off = (batch.number * 7 % 11 - 5) / 2000  # spots and scales differ
            target = self.practice.dry_moisture_wb_frac
            layer = self.evenings[batch.number].get(day - timedelta(days=1), target)
            moisture = max(0.001, min(layer + off, target))
            self.book.test(batch, moisture, self._said("tested_by", moment - timedelta(hours=2)))
            self.book.pile(batch, place, self._said("scooped_by", moment))

    def _pile_for(self, dry_kg: float, day: date, moment: datetime) -> Place | None:
        """The open pile if it has room, else it closes and the first free place is taken."""
        there = [(pile, self.book.lying_on(pile.place_id)) for pile in self.piles]
        for pile, batch in there:
            if batch is None or batch.stage != Stage.CURING or batch.closed_at is not None:
                continue
            if self.book.held_kg[batch.number] + dry_kg <= pile.capacity_kg:
                return pile.place
            self._close_pile(batch, day, moment)
        return next((pile.place for pile, batch in there if batch is None), None)

    def _close_pile(self, pile: Batch, day: date, moment: datetime) -> None:
        ready_on = day + timedelta(days=self.practice.cure_d)
        self.book.close_pile(pile, ready_on, self._said("scooped_by", moment))

    def close_piles(self, day: date, moment: datetime) -> None:
        for pile in self.book.live(Stage.CURING):
            is_old = is_due(pile.opened_at, 24 * self.practice.pile_close_d, moment)
            if pile.closed_at is None and is_old:
                self._close_pile(pile, day, moment)

    def cure_and_release(self, day: date, moment: datetime) -> None:
        for pile in list(self.book.live(Stage.CURING)):
            if pile.ready_on is not None and pile.ready_on <= day:
                self.book.mark_cured(pile, self._said("tested_by", moment))
                self.book.release(pile, self._said("released_by", moment))

    def bed(self, day: date, moment: datetime) -> None:
        """Bed the day's loads, the oldest released first; the last of a pile is a part load."""
        for _load in range(self.facts["loads_a_day"]):
            released = sorted(
                self.book.live(Stage.RELEASED), key=lambda b: (b.released_at, b.number)
            )
            if released:
                dry_kg = min(self.facts["load_kg"], self.book.held_kg[released[0].number])
                said = self._said("scooped_by", moment)
                self.book.bed(released[0], next(self.pens), dry_kg, said)

    def buy(self, day: date, moment: datetime) -> None:
        """Take a delivery whenever its place is empty, once the first pile was released."""
        has_begun = any(batch.released_at for batch in self.book.batches)
        if has_begun and self.book.lying_on(self.bought.pk) is None:
            said = self._said("scooped_by", moment)
            batch = self.book.deliver(self.bought, self.facts["bought_kg"], day, said)
            self.book.release(batch, self._said("released_by", moment))

    def _said(self, role: str, moment: datetime) -> Said:
        return Said(self.actors[self.facts[role]], moment)

    def _is_dry(self, day: date) -> bool:
        return self.rain_mm.get(day, 0.0) < DRY_DAY_MM

    def _dry(self, spread_on: date) -> tuple[date, dict[date, float]]:
        """When the weather that came made a load dry, later than anything if not by yesterday.

        With the layer's moisture on each evening until then.
        """
        days = [spread_on + timedelta(days=n) for n in range(HORIZON_D)]
        known = [day for day in days if day in self.rain_mm]
        if not known:
            return date.max, {}
        layer = layer_of(self.practice)
        run = simulate_drying(
            layer,
            initial_moisture_wb_frac=drained_moisture_wb_frac(
                layer, self.practice.scooped_moisture_wb_frac, self.practice.drain_h
            ),
            et0_mm=np.array([self.et0_mm[day] for day in known]),
            rain_mm=np.array([self.rain_mm[day] for day in known]),
            turning=Turning(
                (round(self.practice.turns_per_d),) * len(known), self.practice.turned_depth_m
            ),
        )
        target = DryTarget(self.practice.dry_moisture_wb_frac, self.practice.dry_hold_d)
        index = int(first_dry_day(run, target)[0])
        evenings = dict(zip(known, map(float, run.moisture_wb_frac[0]), strict=True))
        return known[index] + timedelta(days=1) if index >= 0 else date.max, evenings


def _places(model: type[Lane | Slab | Bay | Pen], site: Site) -> list[Place]:
    """Places in use of one kind, in the order of the farm file."""
    rows = model.objects.filter(site=site, place__retired_at=None).select_related("place")
    return [row.place for row in rows.order_by("pk")]
