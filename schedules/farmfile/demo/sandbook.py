"""The sand loop's rows while months are played through in memory, and written at once at the end.

Each verb leaves the rows that the verb of the same name in schedules.sand leaves; one by one and
with their locks, months of them would take a minute.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from equipment.sandyard.models import SandPractice
from equipment.site.models import Actor, Place, Site
from schedules.sand.calc.supply import DryMass
from schedules.sand.ledger import account
from schedules.sand.models import (
    AccountKind,
    Batch,
    BatchParent,
    BatchStep,
    MoistureTest,
    SandAccount,
    SandMove,
    Stage,
)


@dataclass(frozen=True)
class Said:
    """Who did it, and when."""

    by: Actor
    at: datetime


@dataclass
class SandBook:
    """Batches, steps, moves and tests not yet written."""

    site: Site
    practice: SandPractice
    accounts: dict[tuple[AccountKind, int | None], SandAccount] = field(default_factory=dict)
    batches: list[Batch] = field(default_factory=list)
    held_kg: dict[int, float] = field(default_factory=dict)
    parents: list[BatchParent] = field(default_factory=list)
    steps: list[BatchStep] = field(default_factory=list)
    moves: list[SandMove] = field(default_factory=list)
    tests: list[MoistureTest] = field(default_factory=list)

    def live(self, *stages: Stage) -> Iterator[Batch]:
        return (b for b in self.batches if b.ended_at is None and b.stage in stages)

    def lying_on(self, place_id: int) -> Batch | None:
        found = (b for b in self.batches if b.ended_at is None and b.place_id == place_id)
        return next(found, None)

    def scoop(self, slab: Place, lane: Place, mass: DryMass, buckets: float, said: Said) -> None:
        """Fill the open draining batch, or open one; it closes at a bay's load by `close`."""
        still_open = (b for b in self.live(Stage.DRAINING) if b.closed_at is None)
        batch = next(still_open, None) or self._open(
            Stage.DRAINING, slab, said, self.practice.scooped_moisture_wb_frac
        )
        self._move(batch, (AccountKind.LANE, None), (AccountKind.PLACE, slab), mass, said)
        self._step(batch, "scooped", said, lane, buckets=buckets, dry_kg=mass.dry_kg)
        self.held_kg[batch.number] += mass.dry_kg

    def close(self, batch: Batch, said: Said) -> None:
        batch.closed_at = batch.stage_since = said.at
        self._step(batch, "closed", said)

    def spread(self, batch: Batch, bay: Place, said: Said) -> None:
        self._carry(batch, bay, said)
        batch.stage, batch.stage_since, batch.place = Stage.DRYING, said.at, bay
        self._step(batch, "spread", said, bay)

    def turn(self, batch: Batch, said: Said) -> None:
        self._step(batch, "turned", said, batch.place)

    def test(self, batch: Batch, moisture_wb_frac: float, said: Said) -> None:
        batch.moisture_wb_frac = moisture_wb_frac
        self.tests.append(
            MoistureTest(
                site=self.site,
                batch=batch,
                taken_at=said.at,
                moisture_wb_frac=moisture_wb_frac,
                given_basis="wb",
                depth_m=self.practice.layer_depth_m,
                n_spots=5,
                by=said.by,
            )
        )

    def pile(self, batch: Batch, place: Place, said: Said) -> None:
        """Bring a load to the pile there, or begin one: the pile is a batch of its own."""
        mass_kg = self.held_kg[batch.number]
        target = self.lying_on(place.pk) or self._open(
            Stage.CURING, place, said, batch.moisture_wb_frac
        )
        target.moisture_wb_frac = max(target.moisture_wb_frac, batch.moisture_wb_frac)
        self._carry(batch, place, said)
        self.parents.append(BatchParent(site=self.site, child=target, parent=batch, dry_kg=mass_kg))
        self.held_kg[target.number] += mass_kg
        self.held_kg[batch.number] = 0
        batch.ended_at, batch.place = said.at, None
        self._step(batch, "picked_up", said, place)
        self._step(target, "piled", said, place, parent=batch.number, dry_kg=mass_kg)

    def close_pile(self, batch: Batch, ready_on: date, said: Said) -> None:
        batch.closed_at, batch.stage_since, batch.ready_on = said.at, said.at, ready_on
        self._step(batch, "pile_closed", said, batch.place)

    def mark_cured(self, batch: Batch, said: Said) -> None:
        batch.stage, batch.stage_since = Stage.CURED, said.at
        self._step(batch, "cured", said, batch.place, reason="")

    def release(self, batch: Batch, said: Said) -> None:
        batch.stage, batch.stage_since = Stage.RELEASED, said.at
        batch.released_by, batch.released_at = said.by, said.at
        self._step(batch, "released", said, batch.place)

    def deliver(self, place: Place, dry_kg: float, ready_on: date, said: Said) -> Batch:
        batch = self._open(Stage.CURED, place, said, 0.04)
        batch.is_bought, batch.closed_at, batch.ready_on = True, said.at, ready_on
        mass = DryMass(dry_kg, dry_kg, dry_kg)
        self._move(batch, (AccountKind.DELIVERY, None), (AccountKind.PLACE, place), mass, said)
        self.held_kg[batch.number] = dry_kg
        self._step(batch, "delivered", said, place, dry_kg=dry_kg)
        return batch

    def bed(self, batch: Batch, pen: Place, dry_kg: float, said: Said) -> None:
        mass = DryMass(dry_kg, dry_kg, dry_kg)
        heap = (AccountKind.PLACE, batch.place)
        self._move(batch, heap, (AccountKind.BEDS, pen), mass, said)
        self.held_kg[batch.number] -= dry_kg
        if self.held_kg[batch.number] <= 1:
            batch.stage, batch.stage_since = Stage.BEDDED, said.at
            batch.ended_at, batch.place = said.at, None
        self._step(batch, "bedded", said, pen, dry_kg=dry_kg, reason="")

    def write(self) -> None:
        """Write all of it; batches first, since the others name them."""
        Batch.objects.bulk_create(self.batches)
        BatchParent.objects.bulk_create(self.parents)
        BatchStep.objects.bulk_create(self.steps, batch_size=1000)
        SandMove.objects.bulk_create(self.moves, batch_size=1000)
        MoistureTest.objects.bulk_create(self.tests)

    def _open(self, stage: Stage, place: Place, said: Said, moisture_wb_frac: float) -> Batch:
        batch = Batch(
            site=self.site,
            number=len(self.batches) + 1,
            stage=stage,
            place=place,
            opened_at=said.at,
            stage_since=said.at,
            moisture_wb_frac=moisture_wb_frac,
            cure_d=self.practice.cure_d,
        )
        self.batches.append(batch)
        self.held_kg[batch.number] = 0
        return batch

    def _carry(self, batch: Batch, place: Place, said: Said) -> None:
        held_kg = self.held_kg[batch.number]
        mass = DryMass(held_kg, held_kg, held_kg)
        here = (AccountKind.PLACE, batch.place)
        self._move(batch, here, (AccountKind.PLACE, place), mass, said)

    def _account(self, kind: AccountKind, place: Place | None) -> SandAccount:
        key = (kind, place.pk if place else None)
        if key not in self.accounts:
            self.accounts[key] = account(self.site.pk, kind, place)
        return self.accounts[key]

    def _move(
        self,
        batch: Batch,
        source: tuple[AccountKind, Place | None],
        target: tuple[AccountKind, Place | None],
        mass: DryMass,
        said: Said,
    ) -> None:
        self.moves.append(
            SandMove(
                site=self.site,
                batch=batch,
                source=self._account(*source),
                target=self._account(*target),
                dry_kg=mass.dry_kg,
                low_kg=mass.low_kg,
                high_kg=mass.high_kg,
                at=said.at,
                by=said.by,
            )
        )

    def _step(
        self, batch: Batch, kind: str, said: Said, place: Place | None = None, **detail: Any
    ) -> None:
        self.steps.append(
            BatchStep(
                site=self.site,
                batch=batch,
                kind=kind,
                at=said.at,
                by=said.by,
                place=place,
                detail=detail,
            )
        )


def is_due(since: datetime, h: float, now: datetime) -> bool:
    """Whether so many hours have passed."""
    return since + timedelta(hours=h) <= now
