"""On the pad: spread, turned, tested."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.sandyard.calc import wet_basis_frac
from equipment.sandyard.models import Bay
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Event
from equipment.site.writes import site_write
from schedules.sand.calc.stages import BatchEvent
from schedules.sand.models import Batch, MoistureTest

from .common import (
    Said,
    enter_stage,
    locked_batch,
    refuse_taken,
    refuse_unless,
    shift_place,
    write_step,
)


def spread(
    *,
    site_id: int,
    batch_id: int,
    bay_id: int,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> Batch:
    """Spread a draining batch over a bay that no other batch lies on."""
    said = Said(by, at, event)
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.SPREAD, at)
        bay = (
            Bay.objects.select_for_update(of=("self",), no_key=True)
            .filter(site_id=site_id, pk=bay_id)
            .select_related("place")
            .first()
        )
        if bay is None:
            raise NotFoundError(_("There is no such bay here."))
        refuse_taken(site_id, bay.place)
        shift_place(batch, bay.place, said)
        if batch.closed_at is None:
            batch.closed_at = at
            batch.save(update_fields=["closed_at"])
        enter_stage(batch, BatchEvent.SPREAD, at, bay.place)
        write_step(write, batch, "spread", said, bay.place)
    return batch


def turn(
    *, site_id: int, batch_id: int, by: Actor, at: datetime, event: Event | None = None
) -> Batch:
    """Record that a drying batch was turned."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.TURNED, at)
        write_step(write, batch, "turned", Said(by, at, event), batch.place)
    return batch


def add_moisture_test(
    *,
    site_id: int,
    batch_id: int,
    moisture_frac: float,
    basis: str,
    n_spots: int,
    by: Actor,
    at: datetime,
    depth_m: float | None = None,
    event: Event | None = None,
) -> MoistureTest:
    """Record a moisture test; a dry-basis figure is stored wet basis, with the basis it came in."""
    with site_write(site_id, at) as write:
        batch = locked_batch(site_id, batch_id)
        refuse_unless(batch, BatchEvent.MOISTURE_TEST, at)
        wet = moisture_frac if basis == "wb" else float(wet_basis_frac(moisture_frac))
        test = MoistureTest.objects.create(
            site_id=site_id,
            batch=batch,
            taken_at=at,
            moisture_wb_frac=wet,
            given_basis=basis,
            depth_m=depth_m,
            n_spots=n_spots,
            by=by,
            event=event,
        )
        batch.moisture_wb_frac = wet
        batch.save(update_fields=["moisture_wb_frac"])
        write.change("batch.tested", batch.pk)
    return test
