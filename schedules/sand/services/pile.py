"""On the pile: built of its parents, closed, cured, released."""

from __future__ import annotations

from datetime import datetime, timedelta

from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Actor, Event, Place, Site
from equipment.site.writes import SiteWrite, site_write
from schedules.sand.calc.stages import BatchEvent, Refusal
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch, BatchParent

from .common import (
    Said,
    enter_stage,
    find_pile_place,
    locked_batch,
    new_batch,
    practice_of,
    refuse_overfull,
    refuse_unless,
    shift_place,
    write_step,
)


def pile(
    *,
    site_id: int,
    batch_id: int,
    pile_place_id: int,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> Batch:
    """Bring a bay's sand to a pile place: the pile is a batch of its own, built of its parents.

    An open pile there takes it while there is room; a closed one is never topped. The pile has the
    wettest moisture of its parents; its cure begins when it closes, so for the youngest of them.
    """
    said = Said(by, at, event)
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.PICKED_UP, at)
        spot = find_pile_place(site_id, pile_place_id)
        place = spot.place
        target = _open_pile(site_id, place, batch, at)
        mass_kg = batch_mass_kg(batch)
        refuse_overfull(spot, batch_mass_kg(target), mass_kg)
        shift_place(batch, place, said)
        if mass_kg > 0:
            BatchParent.objects.create(site_id=site_id, child=target, parent=batch, dry_kg=mass_kg)
        batch.ended_at, batch.place = at, None
        batch.save(update_fields=["ended_at", "place"])
        write_step(write, batch, "picked_up", said, place)
        write_step(write, target, "piled", said, place, parent=batch.number, dry_kg=mass_kg)
        _close_old_pile(write, target, said)
    return target


def _open_pile(site_id: int, place: Place, parent: Batch, at: datetime) -> Batch:
    there = (
        Batch.objects.select_for_update(no_key=True)
        .filter(site_id=site_id, place=place, ended_at=None)
        .first()
    )
    if there is None:
        return new_batch(
            site_id,
            BatchEvent.PILED,
            at,
            place=place,
            moisture_wb_frac=parent.moisture_wb_frac,
        )
    refuse_unless(there, BatchEvent.PILED, at)
    there.moisture_wb_frac = max(there.moisture_wb_frac, parent.moisture_wb_frac)
    there.save(update_fields=["moisture_wb_frac"])
    return there


def _close_old_pile(write: SiteWrite, pile_batch: Batch, said: Said) -> None:
    practice = practice_of(pile_batch.site_id)
    if said.at - pile_batch.opened_at >= timedelta(days=practice.pile_close_d):
        _close_pile(write, pile_batch, said)


def close_pile(
    *, site_id: int, batch_id: int, by: Actor, at: datetime, event: Event | None = None
) -> Batch:
    """Close a pile: nothing is added, its cure begins, `ready_on` stands. Twice is once."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.PILE_CLOSED, at, despite=(Refusal.PILE_CLOSED,))
        if batch.closed_at is None:
            _close_pile(write, batch, Said(by, at, event))
    return batch


def _close_pile(write: SiteWrite, batch: Batch, said: Said) -> None:
    site = Site.objects.get(id=batch.site_id)
    batch.closed_at = batch.stage_since = said.at
    batch.ready_on = local_date_of(said.at, site.zone) + timedelta(days=batch.cure_d)
    batch.save(update_fields=["closed_at", "stage_since", "ready_on"])
    write_step(write, batch, "pile_closed", said, batch.place)


def mark_cured(
    *,
    site_id: int,
    batch_id: int,
    by: Actor,
    at: datetime,
    reason: str = "",
    event: Event | None = None,
) -> Batch:
    """Say that a closed pile is cured; before its `ready_on` only with a reason."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        despite = (Refusal.CURE_NOT_OVER,) if reason else ()
        refuse_unless(batch, BatchEvent.CURED, at, despite=despite)
        enter_stage(batch, BatchEvent.CURED, at)
        write_step(write, batch, "cured", Said(by, at, event), batch.place, reason=reason)
    return batch


def release(
    *, site_id: int, batch_id: int, by: Actor, at: datetime, event: Event | None = None
) -> Batch:
    """Release a cured batch for bedding, by a named person. A held batch is refused."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.RELEASED, at)
        batch.released_by, batch.released_at = by, at
        batch.save(update_fields=["released_by", "released_at"])
        enter_stage(batch, BatchEvent.RELEASED, at)
        write_step(write, batch, "released", Said(by, at, event), batch.place)
    return batch
