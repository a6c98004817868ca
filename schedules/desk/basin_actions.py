"""What the forms of the Basins page do: each tells one fact, which is only ever added."""

from __future__ import annotations

from datetime import date

from django.http import HttpResponse, QueryDict
from django.utils.translation import gettext as _

from equipment.basins import services as basins
from equipment.site.calc.local_time import local_date_of
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.typed_number import AmbiguousNumberError
from equipment.site.errors import InvalidInputError
from equipment.site.units import parse_quantity

from .base import Desk, desk_view, done
from .forms import read_key, read_mass_kg, read_words

CONTENTS = ("n_kg_t", "nh4_n_kg_t", "no3_n_kg_t", "p2o5_kg_t", "k2o_kg_t")


def _read_quantity(desk: Desk, name: str, label: str) -> float:
    """Read a quantity as people type it, in the site's unit or with one."""
    text = desk.request.POST.get(name, "").strip()
    try:
        value = parse_quantity(text, name, "us" if desk.caller.site.units == "us" else "si")
    except (RefusedValueError, AmbiguousNumberError) as error:
        words = _("%(label)s: %(text)s is no amount. Write it as 1250.5, or with its unit.")
        raise InvalidInputError(words % {"label": label, "text": text or "–"}) from error
    if not 0 <= value < 1e9:
        words = _("%(label)s: %(text)s is no amount. Write it as 1250.5, or with its unit.")
        raise InvalidInputError(words % {"label": label, "text": text})
    return value


def _read_day(desk: Desk, posted: QueryDict, name: str, label: str) -> date:
    """Read a past day, ISO as the browser sends it."""
    try:
        on = date.fromisoformat(posted.get(name, ""))
    except ValueError as error:
        raise InvalidInputError(_("%s must be a day, as in 2026-03-04.") % label) from error
    if not date(2000, 1, 1) <= on <= local_date_of(desk.now, desk.caller.site.zone):
        raise InvalidInputError(_("%s must be a day that was.") % label)
    return on


@desk_view
def level(desk: Desk, pk: int) -> HttpResponse:
    basins.record_level(
        site_id=desk.site_id,
        basin_id=pk,
        depth_m=_read_quantity(desk, "depth_m", _("Depth")),
        by=desk.caller.actor,
        at=desk.now,
    )
    words = _("The level is saved; what is expected begins from it.")
    return done(desk, words, "basins", anchor=f"basin-{pk}")


@desk_view
def gate(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    basins.switch_gate(site_id=desk.site_id, basin_id=pk, by=desk.caller.actor, at=desk.now)
    return done(desk, _("The switch is on record. It moves no gate."), "basins")


@desk_view
def clean_out(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    basins.record_clean_out(
        site_id=desk.site_id,
        basin_id=pk,
        depth_after_m=_read_quantity(desk, "depth_m", _("Depth left")),
        by=desk.caller.actor,
        at=desk.now,
        note=read_words(desk.request.POST, "note", _("Note")),
    )
    return done(desk, _("The clean-out is on record."), "basins", anchor=f"basin-{pk}")


@desk_view
def analysis(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    labels = (
        _("Total nitrogen"),
        _("Ammonium nitrogen"),
        _("Nitrate nitrogen"),
        _("Phosphate (P2O5)"),
        _("Potash (K2O)"),
    )
    basins.record_analysis(
        site_id=desk.site_id,
        basin_id=pk,
        sampled_on=_read_day(desk, desk.request.POST, "sampled_on", _("Sampled on")),
        contents={
            name: _read_quantity(desk, name, label)
            for name, label in zip(CONTENTS, labels, strict=True)
        },
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("The analysis is saved."), "basins", anchor="fields-h")


@desk_view
def application(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    basins.record_application(
        site_id=desk.site_id,
        field_id=pk,
        basin_id=read_key(posted, "basin", desk.noun("basin")),
        applied_on=_read_day(desk, posted, "applied_on", _("Spread on")),
        mass_kg=read_mass_kg(posted, "mass", _("Mass as hauled"), desk.caller.site.units),
        by=desk.caller.actor,
        at=desk.now,
        note=read_words(posted, "note", _("Note")),
    )
    return done(desk, _("It is on record."), "basins", anchor="fields-h")
