"""What the forms of the Sand page do: each tells one thing that was done with sand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpResponse
from django.utils.translation import gettext as _

from equipment.site.models import HoldSubject
from equipment.site.services import put_hold
from schedules.sand import services as sand

from .base import Desk, desk_view, done
from .forms import read_key, read_keys, read_mass_kg, read_number, read_whole, read_words


def _spread(desk: Desk, who: dict[str, Any]) -> None:
    sand.spread(bay_id=read_key(desk.request.POST, "place", desk.noun("bay")), **who)


def _pile(desk: Desk, who: dict[str, Any]) -> None:
    sand.pile(pile_place_id=read_key(desk.request.POST, "place", desk.noun("pile_place")), **who)


def _bed(desk: Desk, who: dict[str, Any]) -> None:
    """Tell what was bedded, as much in each of the pens that are ticked."""
    posted = desk.request.POST
    sand.bed_pens(
        pen_ids=read_keys(posted, "pen", desk.noun("pens")),
        dry_kg=_read_amount(desk),
        reason=read_words(posted, "reason", _("Reason")),
        **who,
    )


def _count(desk: Desk, who: dict[str, Any]) -> None:
    reason = read_words(desk.request.POST, "reason", _("How it was counted"), is_needed=True)
    sand.count(dry_kg=_read_amount(desk), reason=reason, **who)


def _dispose(desk: Desk, who: dict[str, Any]) -> None:
    reason = read_words(desk.request.POST, "reason", _("Reason"), is_needed=True)
    sand.dispose(dry_kg=_read_amount(desk), reason=reason, **who)


def _read_amount(desk: Desk) -> float:
    return read_mass_kg(desk.request.POST, "amount", _("Dry mass"), desk.caller.site.units)


def _cured(desk: Desk, who: dict[str, Any]) -> None:
    sand.mark_cured(reason=read_words(desk.request.POST, "reason", _("Reason")), **who)


STEPS: dict[str, Callable[[Desk, dict[str, Any]], None]] = {
    "spread": _spread,
    "turn": lambda _desk, who: _quiet(sand.turn(**who)),
    "pile": _pile,
    "close": lambda _desk, who: _quiet(sand.close_pile(**who)),
    "cured": _cured,
    "release": lambda _desk, who: _quiet(sand.release(**who)),
    "bed": _bed,
    "count": _count,
    "dispose": _dispose,
}


def _quiet(_result: object) -> None:
    """Drop a verb's result: the page reads the batch again."""


@desk_view
def batch_step(desk: Desk, pk: int, step: str) -> HttpResponse:
    desk.require_lead()
    if step not in STEPS:
        raise Http404
    who = {
        "site_id": desk.site_id,
        "batch_id": pk,
        "by": desk.caller.actor,
        "at": desk.now,
    }
    STEPS[step](desk, who)
    return done(desk, _("Recorded."), "sand")


@desk_view
def moisture(desk: Desk, pk: int) -> HttpResponse:
    posted = desk.request.POST
    percent = read_number(posted, "moisture_pct", _("Moisture, %"), most=90)
    sand.add_moisture_test(
        site_id=desk.site_id,
        batch_id=pk,
        moisture_frac=percent / 100,
        basis="db" if posted.get("basis") == "db" else "wb",
        n_spots=read_whole(posted, "n_spots", _("Spots")),
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("The test is saved; the dates follow."), "sand")


@desk_view
def hold_batch(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    put_hold(
        site_id=desk.site_id,
        subject_kind=HoldSubject.BATCH,
        subject_id=sand.find_batch(desk.site_id, pk).pk,
        reason=read_words(desk.request.POST, "reason", _("Reason"), is_needed=True),
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("The batch is held."), "sand")


@desk_view
def delivery(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    percent = read_number(posted, "moisture_pct", _("Moisture, %"), most=90)
    batch = sand.receive_delivery(
        site_id=desk.site_id,
        pile_place_id=read_key(posted, "place", desk.noun("pile_place")),
        dry_kg=_read_amount(desk),
        moisture_wb_frac=percent / 100,
        by=desk.caller.actor,
        at=desk.now,
    )
    words = _("%(batch)s %(number)d is taken in. Release it before it is bedded.")
    return done(desk, words % {"batch": desk.noun("batch"), "number": batch.number}, "sand")
