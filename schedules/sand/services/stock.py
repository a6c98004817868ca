"""Into the beds, and what comes from or goes elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.utils.translation import gettext as _

from equipment.barns.models import Pen
from equipment.sandyard.calc import windrow
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event, HoldSubject, Place, Site
from equipment.site.queries import open_holds
from equipment.site.writes import site_write
from schedules.errors import (
    NotOldestError,
)
from schedules.sand.calc.stages import BatchEvent, BatchStage, stage_after
from schedules.sand.ledger import Amount, account, batch_mass_kg, move
from schedules.sand.models import AccountKind, Batch, Stage

from .common import (
    Said,
    find_pile_place,
    locked_batch,
    new_batch,
    practice_of,
    refuse_overfull,
    refuse_taken,
    refuse_unless,
    refuse_used_up,
    write_step,
)


def bed(
    *,
    site_id: int,
    batch_id: int,
    pen_id: int,
    dry_kg: float,
    by: Actor,
    at: datetime,
    reason: str = "",
    event: Event | None = None,
) -> Batch:
    """Bring released sand into a pen's beds; the oldest released batch goes first.

    A younger one needs a reason. When the batch is used up it ends as bedded.
    """
    return bed_pens(
        site_id=site_id,
        batch_id=batch_id,
        pen_ids=[pen_id],
        dry_kg=dry_kg,
        by=by,
        at=at,
        reason=reason,
        event=event,
    )


def bed_pens(
    *,
    site_id: int,
    batch_id: int,
    pen_ids: Iterable[int],
    dry_kg: float,
    by: Actor,
    at: datetime,
    reason: str = "",
    event: Event | None = None,
) -> Batch:
    """Bring as much of a released batch into the beds of each pen, as `bed` does of one.

    What the pens took together may use the batch up: it ends after the last.
    """
    said = Said(by, at, event)
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.BEDDED, at)
        _refuse_younger(batch, reason)
        source = account(site_id, AccountKind.PLACE, batch.place)
        pens = _pen_places(site_id, pen_ids)
        for pen in pens:
            beds, amount = account(site_id, AccountKind.BEDS, pen), Amount.exactly(dry_kg)
            move(batch=batch, source=source, target=beds, amount=amount, by=by, at=at, event=event)
        _end_when_empty(batch, at)
        for pen in pens:
            write_step(write, batch, "bedded", said, pen, dry_kg=dry_kg, reason=reason)
    return batch


def _pen_places(site_id: int, pen_ids: Iterable[int]) -> list[Place]:
    """Places of pens, each once; one that is not there refuses all."""
    wanted = set(pen_ids)
    pens = Pen.objects.filter(site_id=site_id, pk__in=wanted).select_related("place").order_by("pk")
    if len(pens) < len(wanted):
        raise NotFoundError(_("There is no such pen here."))
    return [pen.place for pen in pens]


def _refuse_younger(batch: Batch, reason: str) -> None:
    held = open_holds(batch.site_id, HoldSubject.BATCH).values("subject_id")
    older = (
        Batch.objects.filter(
            site_id=batch.site_id,
            stage=Stage.RELEASED,
            ended_at=None,
            released_at__lt=batch.released_at,
        )
        .exclude(id__in=held)
        .order_by("released_at")
        .first()
    )
    if older is not None and not reason:
        raise NotOldestError(
            _("Batch %(older)d was released before %(number)d. Take it first, or give the reason.")
            % {"older": older.number, "number": batch.number}
        )


def _end_when_empty(batch: Batch, at: datetime) -> None:
    if batch_mass_kg(batch) <= 1:
        stage = stage_after(BatchEvent.BEDDED, BatchStage(batch.stage), is_empty_after=True)
        batch.stage, batch.stage_since, batch.ended_at, batch.place = Stage(stage), at, at, None
        batch.save(update_fields=["stage", "stage_since", "ended_at", "place"])


def receive_delivery(
    *,
    site_id: int,
    pile_place_id: int,
    dry_kg: float,
    by: Actor,
    at: datetime,
    moisture_wb_frac: float = 0.04,
    event: Event | None = None,
) -> Batch:
    """Take in bought sand as a batch of its own, entered as cured; a person releases it."""
    with site_write(site_id, at) as write:
        spot = find_pile_place(site_id, pile_place_id)
        place = spot.place
        refuse_taken(site_id, place)
        refuse_overfull(spot, 0, dry_kg)
        batch = new_batch(
            site_id,
            BatchEvent.DELIVERED,
            at,
            place=place,
            is_bought=True,
            closed_at=at,
            moisture_wb_frac=moisture_wb_frac,
            ready_on=_today(site_id, at),
        )
        move(
            batch=batch,
            source=account(site_id, AccountKind.DELIVERY),
            target=account(site_id, AccountKind.PLACE, place),
            amount=Amount.exactly(dry_kg),
            by=by,
            at=at,
            event=event,
        )
        write_step(write, batch, "delivered", Said(by, at, event), place, dry_kg=dry_kg)
    return batch


def _today(site_id: int, at: datetime) -> date:
    return local_date_of(at, Site.objects.get(id=site_id).zone)


def dispose(
    *,
    site_id: int,
    batch_id: int,
    dry_kg: float,
    reason: str,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> Batch:
    """Take spoiled sand out of the loop, with the reason."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_used_up(batch)
        move(
            batch=batch,
            source=account(site_id, AccountKind.PLACE, batch.place),
            target=account(site_id, AccountKind.DISPOSAL),
            amount=Amount.exactly(dry_kg),
            by=by,
            at=at,
            event=event,
        )
        write_step(write, batch, "disposed", Said(by, at, event), batch.place, reason=reason)
        if batch_mass_kg(batch) <= 1:
            batch.ended_at, batch.place = at, None
            batch.save(update_fields=["ended_at", "place"])
    return batch


def count(
    *, site_id: int, batch_id: int, dry_kg: float, by: Actor, at: datetime, reason: str
) -> Batch:
    """Set a batch to what was measured; the difference goes to the count account."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_used_up(batch)
        difference = dry_kg - batch_mass_kg(batch)
        here = account(site_id, AccountKind.PLACE, batch.place)
        books = account(site_id, AccountKind.COUNT)
        if abs(difference) > 1:
            source, target = (books, here) if difference > 0 else (here, books)
            amount = Amount.exactly(abs(difference))
            move(batch=batch, source=source, target=target, amount=amount, by=by, at=at)
        write_step(write, batch, "counted", Said(by, at), batch.place, dry_kg=dry_kg, reason=reason)
    return batch


def measure(
    *, site_id: int, batch_id: int, length_m: float, width_m: float, by: Actor, at: datetime
) -> Batch:
    """Count a pile by its foot, measured with a tape: `count` of what its slope makes of it."""
    practice = practice_of(site_id)
    sides_m = max(length_m, width_m), min(length_m, width_m)
    dry_kg = windrow(*sides_m, practice.repose_deg).volume_m3 * practice.bulk_density_kg_m3
    reason = f"{sides_m[0]:g} m × {sides_m[1]:g} m"
    return count(site_id=site_id, batch_id=batch_id, dry_kg=dry_kg, by=by, at=at, reason=reason)
