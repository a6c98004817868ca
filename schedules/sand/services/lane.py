"""Out of the lane: buckets become a draining batch."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.machines.models import Machine
from equipment.sandyard.models import Bay, Lane, Slab
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event
from equipment.site.writes import SiteWrite, site_write
from schedules.sand.calc.stages import BatchEvent
from schedules.sand.calc.supply import bucket_dry_kg
from schedules.sand.ledger import Amount, account, batch_mass_kg, move
from schedules.sand.models import AccountKind, Batch, Stage

from .common import (
    Said,
    locked_batch,
    new_batch,
    practice_of,
    refuse_unless,
    write_step,
)


def scoop(
    *,
    site_id: int,
    lane_id: int,
    buckets: float,
    by: Actor,
    at: datetime,
    machine_id: int | None = None,
    event: Event | None = None,
) -> Batch:
    """Bring buckets from a lane to the drain slab: opens a batch, or fills the open one.

    Dry kilograms follow from the machine's bucket with a range. A batch that reaches a bay's
    load closes; the next scoop opens another. Scoops of a site come one after another (the slab's
    row is locked), so that two first ones fill the same batch.
    """
    said = Said(by, at, event)
    with site_write(site_id, at) as write:
        lane = Lane.objects.filter(site_id=site_id, pk=lane_id).select_related("place").first()
        slab = lock_slab(site_id)
        if lane is None or slab is None:
            raise NotFoundError(_("There is no such lane here, or no drain slab."))
        batch = _open_batch(site_id, slab, at)
        amount = _scooped(site_id, machine_id, buckets)
        move(
            batch=batch,
            source=account(site_id, AccountKind.LANE),
            target=account(site_id, AccountKind.PLACE, slab.place),
            amount=amount,
            by=by,
            at=at,
            event=event,
        )
        write_step(write, batch, "scooped", said, lane.place, buckets=buckets, dry_kg=amount.dry_kg)
        if batch_mass_kg(batch) >= bay_load_kg(site_id):
            _close(write, batch, said)
    return batch


def lock_slab(site_id: int) -> Slab | None:
    """Give the drain slab, locked (FOR NO KEY UPDATE): whoever looks for its open batch is alone.

    A batch that is not there yet cannot be locked itself.
    """
    return (
        Slab.objects.select_for_update(of=("self",), no_key=True)
        .filter(site_id=site_id, place__retired_at=None)
        .order_by("pk")
        .first()
    )


def _scooped(site_id: int, machine_id: int | None, buckets: float) -> Amount:
    practice = practice_of(site_id)
    machine = None
    if machine_id is not None:
        machine = Machine.objects.filter(site_id=site_id, id=machine_id).first()
        if machine is None:
            raise NotFoundError(_("There is no such machine here."))
    bucket_m3 = (machine.bucket_m3 if machine else None) or 3.0
    found = bucket_dry_kg(
        buckets,
        bucket_m3=bucket_m3,
        fill_frac=machine.fill_frac if machine else 0.95,
        moisture_wb_frac=practice.scooped_moisture_wb_frac,
    )
    return Amount(found.dry_kg, found.low_kg, found.high_kg)


def bay_load_kg(site_id: int) -> float:
    """Dry mass that fills the site's smallest bay; without bays nothing is ever full: 1 query."""
    smallest = (
        Bay.objects.filter(site_id=site_id, place__retired_at=None).order_by("capacity_kg").first()
    )
    return smallest.capacity_kg if smallest else float("inf")


def _open_batch(site_id: int, slab: Slab, at: datetime) -> Batch:
    batch = (
        Batch.objects.select_for_update(no_key=True)
        .filter(site_id=site_id, stage=Stage.DRAINING, closed_at=None, ended_at=None)
        .order_by("number")
        .last()
    )
    if batch is not None:
        return batch
    return new_batch(
        site_id,
        BatchEvent.SCOOPED,
        at,
        place=slab.place,
        moisture_wb_frac=practice_of(site_id).scooped_moisture_wb_frac,
    )


def close_draining(
    *, site_id: int, batch_id: int, by: Actor, at: datetime, event: Event | None = None
) -> Batch:
    """Close a draining batch by hand: no more is added, its drain time runs."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.SCOOPED, at)
        if batch.closed_at is None:
            _close(write, batch, Said(by, at, event))
    return batch


def _close(write: SiteWrite, batch: Batch, said: Said) -> None:
    batch.closed_at = batch.stage_since = said.at
    batch.save(update_fields=["closed_at", "stage_since"])
    write_step(write, batch, "closed", said)
