"""Verbs of basins: read a level, switch a gate, clean out, bring manure to a field.

Records are only ever added. None of them says that a basin, its cover or its air is fit to enter.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import TypeVar

from django.db.models import Model
from django.utils.translation import gettext as _

from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Actor
from equipment.site.writes import site_write

from .calc.nutrients import Analysis
from .filling import basins_view
from .models import (
    Basin,
    BasinCleanOut,
    BasinOutlook,
    BasinStage,
    CropField,
    FieldApplication,
    GateSwitch,
    LevelReading,
    ManureAnalysis,
)
from .queries import (
    available_n,
    latest_level,
    practice_of,
    settled_density_kg_m3,
    storage_of,
)

M = TypeVar("M", bound=Model)
LIQUID_KG_M3 = 1000.0  # of the second stage; thin manure weighs as water


def record_level(
    *, site_id: int, basin_id: int, depth_m: float, by: Actor, at: datetime
) -> LevelReading:
    """Add a depth read at the marker; what is projected begins from it. Twice is two readings."""
    with site_write(site_id, at) as write:
        basin = _find(Basin, site_id, basin_id, _("There is no such basin here."))
        _refuse_depth(basin, depth_m)
        reading = LevelReading.objects.create(
            site_id=site_id, basin=basin, read_at=at, depth_m=depth_m, by=by
        )
        write.change("basin.level", basin.pk, depth_m=depth_m)
    return reading


def switch_gate(*, site_id: int, basin_id: int, by: Actor, at: datetime) -> GateSwitch:
    """Record that a basin's gate was opened and those of its pair shut; it moves no gate."""
    with site_write(site_id, at) as write:
        basin = _find(Basin, site_id, basin_id, _("There is no such basin here."))
        if not basin.pair or basin.stage != BasinStage.FIRST:
            raise InvalidInputError(_("This basin takes turns with no other: the farm file says."))
        switch = GateSwitch.objects.create(site_id=site_id, basin=basin, at=at, by=by)
        write.change("basin.gate", basin.pk)
    return switch


def record_clean_out(
    *, site_id: int, basin_id: int, depth_after_m: float, by: Actor, at: datetime, note: str = ""
) -> BasinCleanOut:
    """Record that a basin was emptied down to a depth, which counts as a reading too.

    What was removed is the difference of the curve to the last reading before, and 0 without one.
    """
    with site_write(site_id, at) as write:
        basin = _find(Basin, site_id, basin_id, _("There is no such basin here."))
        _refuse_depth(basin, depth_after_m)
        before = latest_level(basin, at)
        storage = storage_of(basin)
        before_m = before.depth_m if before else depth_after_m
        removed_m3 = storage.volume_at_m3(before_m) - storage.volume_at_m3(depth_after_m)
        done = BasinCleanOut.objects.create(
            site_id=site_id,
            basin=basin,
            done_at=at,
            depth_after_m=depth_after_m,
            removed_m3=max(float(removed_m3), 0.0),
            note=note,
            by=by,
        )
        LevelReading.objects.create(
            site_id=site_id, basin=basin, read_at=at, depth_m=depth_after_m, by=by
        )
        write.change("basin.cleaned", basin.pk, depth_m=depth_after_m)
    return done


def record_analysis(
    *,
    site_id: int,
    basin_id: int,
    sampled_on: date,
    contents: Mapping[str, float],
    by: Actor,
    at: datetime,
) -> ManureAnalysis:
    """Add a laboratory's sheet; what was applied before keeps the sheet it was reckoned by."""
    try:
        Analysis(**contents)
    except ValueError as error:
        raise InvalidInputError(
            _("Contents are 0 or more, and ammonium and nitrate no more than total nitrogen.")
        ) from error
    with site_write(site_id, at) as write:
        basin = _find(Basin, site_id, basin_id, _("There is no such basin here."))
        sheet = ManureAnalysis.objects.create(
            site_id=site_id,
            basin=basin,
            sampled_on=sampled_on,
            recorded_at=at,
            by=by,
            **contents,
        )
        write.touch()
    return sheet


def record_application(
    *,
    site_id: int,
    field_id: int,
    basin_id: int,
    applied_on: date,
    by: Actor,
    at: datetime,
    mass_kg: float | None = None,
    volume_m3: float | None = None,
    note: str = "",
) -> FieldApplication:
    """Add what was brought to a field, by mass or by volume, with its nutrients.

    They are those of the basin's last analysis sampled by that day and of the farm's availability
    factors, and stay so whatever is found later.
    """
    with site_write(site_id, at) as write:
        field = _find(CropField, site_id, field_id, _("There is no such field here."))
        basin = _find(Basin, site_id, basin_id, _("There is no such basin here."))
        sheet = basin.analyses.filter(sampled_on__lte=applied_on).last()
        if sheet is None:
            raise InvalidInputError(_("Record this basin's manure analysis first."))
        available_n_kg_t = available_n(practice_of(site_id), sheet)
        if available_n_kg_t is None:
            raise InvalidInputError(
                _("The farm file gives no availability factors: take them from the state's guide.")
            )
        amount = _amount(site_id, basin, mass_kg, volume_m3, at)
        tonnes = amount["mass_kg"] / 1000
        applied = FieldApplication.objects.create(
            site_id=site_id,
            field=field,
            basin=basin,
            analysis=sheet,
            applied_on=applied_on,
            available_n_kg=tonnes * available_n_kg_t,
            p2o5_kg=tonnes * sheet.p2o5_kg_t,
            k2o_kg=tonnes * sheet.k2o_kg_t,
            note=note,
            recorded_at=at,
            by=by,
            **amount,
        )
        write.touch()
    return applied


def store_outlooks(*, site_id: int, at: datetime) -> int:
    """Project all basins anew and keep when each reaches its line; gives how many were kept."""
    farm = basins_view(site_id, at)
    with site_write(site_id, at) as write:
        for view in farm.basins:
            values = {
                "site_id": site_id,
                "made_at": at,
                "line_on": view.line_on(farm.today),
                "clean_d": view.clean_d,
            }
            BasinOutlook.objects.update_or_create(basin=view.basin, defaults=values)
        write.touch()
    return len(farm.basins)


def _find(model: type[M], site_id: int, pk: int, words: str) -> M:
    row = model._default_manager.filter(site_id=site_id, pk=pk).first()
    if row is None:
        raise NotFoundError(words)
    return row


def _refuse_depth(basin: Basin, depth_m: float) -> None:
    if not 0 <= depth_m <= basin.depth_m:
        raise InvalidInputError(_("The depth must lie between the floor and the rim."))


def _amount(
    site_id: int, basin: Basin, mass_kg: float | None, volume_m3: float | None, at: datetime
) -> dict[str, float]:
    """Give both mass and volume, one by the other."""
    if (mass_kg is None) == (volume_m3 is None):
        raise InvalidInputError(_("Give the mass or the volume."))
    kg_m3 = LIQUID_KG_M3
    if basin.stage == BasinStage.FIRST:
        kg_m3 = settled_density_kg_m3(site_id, at)
    amount = (
        {"mass_kg": mass_kg, "volume_m3": mass_kg / kg_m3}
        if mass_kg is not None
        else {"mass_kg": (volume_m3 or 0.0) * kg_m3, "volume_m3": volume_m3 or 0.0}
    )
    if not 0 < amount["mass_kg"] < float("inf"):
        raise InvalidInputError(_("The amount must be above 0."))
    return amount
