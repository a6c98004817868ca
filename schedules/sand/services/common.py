"""What every verb of the sand loop stands on: the locked batch, its stage, its step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.sandyard.models import PilePlace, SandPractice
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError
from equipment.site.looks import once_a_look
from equipment.site.models import Actor, Event, HoldSubject, Place, Site
from equipment.site.queries import open_holds
from equipment.site.writes import SiteWrite
from schedules.errors import (
    BatchHeldError,
    BatchStageError,
    PlaceFullError,
    PlaceTakenError,
    TooEarlyError,
)
from schedules.sand.calc.stages import (
    BatchEvent,
    BatchFacts,
    BatchStage,
    Refusal,
    refusal,
    stage_after,
)
from schedules.sand.ledger import Amount, account, batch_mass_kg, move
from schedules.sand.models import AccountKind, Batch, BatchStep, Stage
from schedules.sand.words import say_tons


@dataclass(frozen=True, slots=True)
class Said:
    """Who said it, when it happened, by which event."""

    by: Actor
    at: datetime
    event: Event | None = None


@once_a_look
def practice_of(site_id: int) -> SandPractice:
    """Give the farm's sand figures; the defaults until the farm sets its own: 1 query."""
    return SandPractice.objects.filter(site_id=site_id).first() or SandPractice(site_id=site_id)


def locked_batch(site_id: int, batch_id: int) -> Batch:
    """Give a batch of the site, locked (FOR NO KEY UPDATE) for the caller's transaction."""
    batch = (
        Batch.objects.select_for_update(no_key=True).filter(site_id=site_id, id=batch_id).first()
    )
    if batch is None:
        raise NotFoundError(_("There is no such batch here."))
    return batch


def find_batch(site_id: int, batch_id: int) -> Batch:
    """Give a batch of the site, not locked."""
    batch = Batch.objects.filter(site_id=site_id, id=batch_id).first()
    if batch is None:
        raise NotFoundError(_("There is no such batch here."))
    return batch


SAID: dict[Refusal, Promise] = {
    Refusal.FINISHED: gettext_lazy("Batch %(number)d is used up."),
    Refusal.NOT_DRAINING: gettext_lazy("Batch %(number)d is %(stage)s, not draining."),
    Refusal.NOT_DRYING: gettext_lazy("Batch %(number)d is %(stage)s, not drying on a pad."),
    Refusal.NOT_IN_A_PILE: gettext_lazy("Batch %(number)d is %(stage)s, not curing in a pile."),
    Refusal.NOT_CURED: gettext_lazy("Batch %(number)d is %(stage)s, not cured."),
    Refusal.NOT_RELEASED: gettext_lazy(
        "Batch %(number)d is %(stage)s: a named person releases it first."
    ),
    Refusal.PILE_CLOSED: gettext_lazy(
        "The pile of batch %(number)d is closed and is never topped."
    ),
    Refusal.PILE_OPEN: gettext_lazy("Close pile %(number)d first: its cure has not begun."),
    Refusal.CURE_NOT_OVER: gettext_lazy(
        "Batch %(number)d is ready on %(ready_on)s. Wait, or give the reason."
    ),
}


def refuse_unless(
    batch: Batch, event: BatchEvent, at: datetime, *, despite: tuple[Refusal, ...] = ()
) -> None:
    """Refuse what the batch's stage, its pile, its cure or a hold does not allow.

    `despite` names what a person has given a reason for.
    """
    reason = refusal(event, _facts(batch, at))
    if reason is None or reason in despite:
        return
    if reason is Refusal.HELD:
        raise BatchHeldError(_say_held(batch))
    words = SAID[Refusal.FINISHED if batch.ended_at is not None else reason]
    error = (
        TooEarlyError if reason in (Refusal.CURE_NOT_OVER, Refusal.PILE_OPEN) else BatchStageError
    )
    raise error(
        str(words)
        % {
            "number": batch.number,
            "stage": Stage(batch.stage).label,
            "ready_on": batch.ready_on.isoformat() if batch.ready_on else "–",
        }
    )


def refuse_used_up(batch: Batch) -> None:
    """Refuse to count or take what is no longer anywhere."""
    if batch.ended_at is not None:
        raise BatchStageError(str(SAID[Refusal.FINISHED]) % {"number": batch.number})


def _facts(batch: Batch, at: datetime) -> BatchFacts:
    holds = open_holds(batch.site_id, HoldSubject.BATCH).filter(subject_id=batch.pk)
    return BatchFacts(
        stage=BatchStage.BEDDED if batch.ended_at is not None else BatchStage(batch.stage),
        is_held=holds.exists(),
        is_pile_closed=batch.closed_at is not None,
        ready_on=batch.ready_on,
        today_on=local_date_of(at, Site.objects.get(id=batch.site_id).zone),
    )


def _say_held(batch: Batch) -> str:
    hold = open_holds(batch.site_id, HoldSubject.BATCH).filter(subject_id=batch.pk).first()
    assert hold is not None
    return _("Batch %(number)d is held by %(who)s: %(why)s. Clear the hold first.") % {
        "number": batch.number,
        "who": hold.put_by.name,
        "why": hold.reason,
    }


def write_step(
    write: SiteWrite,
    batch: Batch,
    kind: str,
    said: Said,
    place: Place | None = None,
    **detail: object,
) -> None:
    """Write down what was done; a batch's stage or place may have moved: tell upper rooms."""
    BatchStep.objects.create(
        site_id=batch.site_id,
        batch=batch,
        kind=kind,
        at=said.at,
        by=said.by,
        place=place,
        event=said.event,
        detail=detail,
    )
    write.change("batch.stage", batch.pk, step=kind, stage=batch.stage)


def enter_stage(batch: Batch, event: BatchEvent, at: datetime, place: Place | None = None) -> None:
    """Move a batch to the stage that an allowed event brings it to."""
    batch.stage, batch.stage_since = Stage(stage_after(event, BatchStage(batch.stage))), at
    if place is not None:
        batch.place = place
    batch.save(update_fields=["stage", "stage_since", "place"])


def new_batch(site_id: int, event: BatchEvent, at: datetime, **facts: object) -> Batch:
    """Number the next batch, in the stage that an event opens one in.

    The site's practice row is the lock that keeps numbers apart.
    """
    SandPractice.objects.select_for_update(no_key=True).filter(site_id=site_id).first()
    last = Batch.objects.filter(site_id=site_id).aggregate(last=Max("number"))["last"] or 0
    practice = practice_of(site_id)
    return Batch.objects.create(
        site_id=site_id,
        number=last + 1,
        stage=Stage(stage_after(event, None)),
        stage_since=at,
        opened_at=at,
        cure_d=practice.cure_d,
        **facts,
    )


def refuse_taken(site_id: int, place: Place) -> None:
    other = Batch.objects.filter(site_id=site_id, place=place, ended_at=None).first()
    if other is not None:
        raise PlaceTakenError(
            _("Batch %(number)d lies on %(place)s. Choose another place.")
            % {"number": other.number, "place": place.label or place.key}
        )


def shift_place(batch: Batch, place: Place, said: Said) -> None:
    """Move all that the batch holds to another place in the ledger."""
    held_kg = batch_mass_kg(batch)
    if held_kg <= 0 or batch.place is None:
        return
    move(
        batch=batch,
        source=account(batch.site_id, AccountKind.PLACE, batch.place),
        target=account(batch.site_id, AccountKind.PLACE, place),
        amount=Amount.exactly(held_kg),
        by=said.by,
        at=said.at,
        event=said.event,
    )


def find_pile_place(site_id: int, pile_place_id: int) -> PilePlace:
    """Give a pile place with its place, locked (FOR NO KEY UPDATE): one pile on each."""
    place = (
        PilePlace.objects.select_for_update(of=("self",), no_key=True)
        .filter(site_id=site_id, pk=pile_place_id)
        .select_related("place")
        .first()
    )
    if place is None:
        raise NotFoundError(_("There is no such pile place here."))
    return place


def refuse_overfull(spot: PilePlace, there_kg: float, more_kg: float) -> None:
    """Refuse more than a pile place has room for: there are other places, or a new pile.

    A bay takes the batch that is spread on it whole: filling the batch ended at a bay's load.
    """
    if there_kg + more_kg <= spot.capacity_kg:
        return
    site = Site.objects.get(id=spot.site_id)
    raise PlaceFullError(
        _(
            "Pile place %(place)s has room for %(room)s. %(there)s lie there and %(more)s would "
            "come. Choose another place, or count what lies there."
        )
        % {
            "place": spot.place.label or spot.place.key,
            "room": say_tons(site, spot.capacity_kg),
            "there": say_tons(site, there_kg),
            "more": say_tons(site, more_kg),
        }
    )
