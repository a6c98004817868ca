"""Reads a site into the scenario that a year ahead starts from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import Sum
from django.utils.translation import gettext as _

from crews.roster.models import Rotation
from equipment.barns.models import BedGroup
from equipment.basins.models import Basin
from equipment.basins.queries import (
    filling_ids,
    inflow_of,
    latest_levels,
    storage_of,
)
from equipment.basins.queries import practice_of as basin_practice_of
from equipment.machines.calc.productivity import cycle_min, loader_m3_h
from equipment.machines.models import Machine, MachineKind, MachinePractice
from equipment.machines.queries import machines_of
from equipment.sandyard.models import Bay, PilePlace, SandPractice, Slab
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.weather.calc.members import ClimateHistory
from equipment.weather.queries import climate_of, recorded_days
from schedules.errors import NoYearError
from schedules.sand.calc.layer import drained_moisture_wb_frac
from schedules.sand.ledger import batch_masses_kg
from schedules.sand.models import Batch, Stage
from schedules.sand.queries import latest_forecasts
from schedules.sand.recovery import recovery_of
from schedules.sand.services import practice_of
from schedules.sand.yard import layer_of
from schedules.work.models import StandingOrder, Trigger, WorkOrder

from .calc.scenario import (
    N_MONTHS,
    NEVER_D,
    BasinNow,
    Basins,
    BayNow,
    Buying,
    Hours,
    PileNow,
    SandUse,
    Scenario,
    Yard,
)
from .models import OutlookPractice

DAY_H, MIN_H, KG_T = 24.0, 60.0, 1000.0
LOADERS = (MachineKind.LOADER, MachineKind.SKID_LOADER)


def climate_before(site: Site, start_on: date) -> ClimateHistory:
    """Give the recorded weather that members are drawn from: 1 query."""
    days = list(recorded_days(site.pk, start_on))
    if not days:
        raise NoYearError(_("No weather is recorded: import a past year of it at least."))
    return climate_of(days)


@dataclass(frozen=True, slots=True)
class AsIs:
    """What a what-if's site no longer tells: what the records of work and sand were made with."""

    n_stalls: int
    recovery_frac: float


def as_is(site_id: int) -> AsIs:
    """Read it before an overlay is laid over the site: 2 queries."""
    return AsIs(n_stalls_of(site_id), practice_of(site_id).recovery_frac)


def scenario_of(site: Site, at: datetime, before: AsIs | None = None) -> Scenario:
    """Give the farm as it stands, and goes on: about 35 queries.

    In a what-if, `before` says how it was: work grows with the stalls, and a measured recovery
    moves as far as the farm's setting does.
    """
    before = before or as_is(site.pk)
    practice, own = practice_of(site.pk), outlook_practice_of(site.pk)
    start_on = local_date_of(at, site.zone)
    n_stalls = n_stalls_of(site.pk)
    recovery = recovery_of(site.pk, at)
    return Scenario(
        start_on=start_on,
        latitude_deg=site.latitude_deg,
        use=SandUse(
            use_kg_d=n_stalls * practice.use_kg_stall_d,
            use_sd_frac=own.use_sd_frac,
            season=tuple(own.season_frac) or (1.0,) * N_MONTHS,
            recovery_frac=min(
                max(recovery.frac + practice.recovery_frac - before.recovery_frac, 0.0), 1.0
            ),
            recovery_sd_frac=recovery.sd_frac,
            screening_loss_frac=own.screening_loss_frac,
            safety_kg=practice.safety_stock_kg,
        ),
        yard=_yard(site, practice, own, at),
        buying=Buying(lead_d=own.buy_lead_d, truck_kg=own.truck_kg) if own.buy_lead_d else None,
        basins=_basins(site, own, at),
        hours=_hours(site, practice, own, at, n_stalls / max(before.n_stalls, 1)),
        rain_factor=own.rain_factor,
    )


def outlook_practice_of(site_id: int) -> OutlookPractice:
    """Give the farm's figures for a year ahead, or those that stand where it gives none."""
    found = OutlookPractice.objects.filter(site_id=site_id).first()
    return found or OutlookPractice(site_id=site_id)


def n_stalls_of(site_id: int) -> int:
    """Count the stalls in use: 1 query."""
    groups = BedGroup.objects.filter(site_id=site_id, place__retired_at=None)
    return groups.aggregate(n=Sum("n_stalls"))["n"] or 0


def _yard(site: Site, practice: SandPractice, own: OutlookPractice, at: datetime) -> Yard:
    """Read pads, piles and slab with what lies there: 10 queries."""
    bays = Bay.objects.filter(site_id=site.pk, place__retired_at=None).order_by("place__key")
    piles = PilePlace.objects.filter(site_id=site.pk, place__retired_at=None).order_by("place__key")
    if not bays or not piles:
        raise NoYearError(_("The farm file names no bay or no pile place."))
    slabs = Slab.objects.filter(site_id=site.pk, place__retired_at=None)
    batches = list(Batch.objects.filter(site_id=site.pk, ended_at=None))
    kg = batch_masses_kg(batches)
    layer = layer_of(practice)
    spread_wb_frac = drained_moisture_wb_frac(
        layer, practice.scooped_moisture_wb_frac, practice.drain_h
    )
    forecasts = latest_forecasts(site.pk)
    bay_now = {
        b.place_id: (
            kg[b.pk],
            f.moisture.likely_wb_frac
            if (f := forecasts.get(b.pk)) and f.moisture
            else spread_wb_frac,
        )
        for b in batches
        if b.stage == Stage.DRYING
    }
    return Yard(
        drain_d=math.ceil(practice.drain_h / DAY_H),
        draining_kg=max(sum(kg[b.pk] for b in batches if b.stage == Stage.DRAINING), 0.0),
        slab_kg=sum(slab.capacity_kg for slab in slabs) or math.inf,
        layer=layer,
        turned_depth_m=practice.turned_depth_m,
        turns_d=round(practice.turns_per_d),
        spread_moisture_wb_frac=spread_wb_frac,
        dry_moisture_wb_frac=practice.dry_moisture_wb_frac,
        hold_d=practice.dry_hold_d,
        log_rate_sd=own.log_rate_sd,
        pile_close_d=practice.pile_close_d,
        cure_d=practice.cure_d,
        bays=tuple(
            _bay_now(bay, *bay_now.get(bay.pk, (0.0, 0.0)), practice=practice) for bay in bays
        ),
        piles=_piles_now(list(piles), batches, kg, local_date_of(at, site.zone)),
    )


def _bay_now(bay: Bay, kg: float, moisture_wb_frac: float, *, practice: SandPractice) -> BayNow:
    water_mm = float(layer_of(practice).water_mm(np.array(moisture_wb_frac))) if kg > 0 else 0.0
    return BayNow(capacity_kg=bay.capacity_kg, dry_kg=max(kg, 0.0), water_mm=water_mm)


def _piles_now(
    places: list[PilePlace], batches: list[Batch], kg: dict[int, float], today: date
) -> tuple[PileNow, ...]:
    found = []
    for place in places:
        here = [
            b
            for b in batches
            if b.place_id == place.pk and b.stage in {Stage.CURING, Stage.CURED, Stage.RELEASED}
        ]
        ready_d = max((_ready_in_d(batch, today) for batch in here), default=0)
        held_kg = max(sum(kg[b.pk] for b in here), 0.0)
        found.append(
            PileNow(capacity_kg=max(place.capacity_kg, held_kg), dry_kg=held_kg, ready_in_d=ready_d)
        )
    return tuple(found)


def _ready_in_d(batch: Batch, today: date) -> int:
    if batch.stage != Stage.CURING:
        return 0
    if batch.closed_at is None or batch.ready_on is None:
        return NEVER_D
    return max((batch.ready_on - today).days, 0)


def _basins(site: Site, own: OutlookPractice, at: datetime) -> Basins:
    """Read the first stage, those that fill first: 6 queries."""
    rows = list(
        Basin.objects.filter(site_id=site.pk, place__retired_at=None, stage="first")
        .select_related("place")
        .order_by("place__key")
    )
    fills = filling_ids(rows, site.pk, at)
    levels = latest_levels(site.pk, at)
    rows.sort(key=lambda basin: basin.pk not in fills)
    inflow = inflow_of(site.pk, at, basin_practice_of(site.pk))
    months = own.clean_months or list(range(1, N_MONTHS + 1))
    return Basins(
        basins=tuple(
            _basin_now(row, levels[row.pk].depth_m if row.pk in levels else 0.0) for row in rows
        ),
        n_filling=max(len(fills), 1),
        solids_m3_d=inflow.settled_m3,
        solids_sd_frac=own.solids_sd_frac,
        liquid_m3_d=inflow.liquid_m3,
        wash_m3_d=inflow.wash_m3,
        clean_m3_d=own.clean_m3_d,
        rest_d=own.clean_rest_d,
        clean_months=tuple(month in months for month in range(1, N_MONTHS + 1)),
    )


def _basin_now(basin: Basin, depth_m: float) -> BasinNow:
    curve = storage_of(basin)
    return BasinNow(
        full_m3=curve.full_m3,
        line_m3=float(curve.volume_at_m3(basin.must_act_depth_m)),
        rim_m2=curve.rim_m2,
        contents_m3=float(curve.volume_at_m3(depth_m)),
        sludge_m3=float(curve.volume_at_m3(basin.sludge_m)),
        weep_frac=basin.weep_frac_d,
        open_frac=basin.open_frac,
    )


def _hours(
    site: Site, practice: SandPractice, own: OutlookPractice, at: datetime, stalls_factor: float
) -> Hours:
    """Give hours by what causes them, of work orders and machines: 6 queries."""
    loaders = [m for m in machines_of(site.pk) if m.kind in LOADERS and not m.is_clean_only]
    machine_practice = MachinePractice.objects.filter(site_id=site.pk).first() or MachinePractice()
    m3_h = [
        _m3_h(machine, machine_practice)
        for machine in loaders
        if machine.kind == MachineKind.LOADER and machine.bucket_m3
    ]
    mean_m3_h = sum(m3_h) / len(m3_h) if m3_h else math.inf
    h_t = KG_T / (practice.bulk_density_kg_m3 * mean_m3_h)
    people_h_d, loader_h_d = _work_h_d(site, at)
    there_h_d = machine_practice.manned_h_d or own.loader_h_d
    return Hours(
        people_base_h_d=people_h_d * stalls_factor,
        loader_base_h_d=loader_h_d,
        people_h_t=h_t,
        loader_h_t=h_t,
        turn_h=_turn_h(site.pk),
        clean_h_m3=1 / mean_m3_h,
        people_there_h_d=_people_there_h_d(site.pk),
        loader_there_h_d=len(loaders) * own.loader_up_frac * there_h_d,
    )


def _m3_h(machine: Machine, practice: MachinePractice) -> float:
    one_min = cycle_min(practice.fixed_cycle_min, practice.haul_m, machine.travel_m_min)
    return loader_m3_h(
        machine.bucket_m3 or 0.0, machine.fill_frac, one_min, practice.work_share_frac
    )


def _work_h_d(site: Site, at: datetime) -> tuple[float, float]:
    """Give a day's hours of people and loaders by the coming day's work orders, without batches."""
    rows = WorkOrder.objects.filter(
        site_id=site.pk, batch=None, due_at__gte=at, due_at__lt=at + timedelta(days=1)
    ).exclude(status="CANCELLED")
    people_min = loader_min = 0.0
    for minutes, n_people, kinds in rows.values_list("duration_min", "n_people", "machine_kinds"):
        people_min += minutes * n_people
        loader_min += minutes if set(kinds) & set(LOADERS) else 0.0
    return people_min / MIN_H, loader_min / MIN_H


def _turn_h(site_id: int) -> float:
    """Give what one turn of a bay takes by the standing order that asks for it; 0 without one."""
    orders = StandingOrder.objects.filter(
        site_id=site_id, retired_at=None, trigger=Trigger.BATCH_STAGE, trigger_rule__step="turned"
    )
    order = orders.first()
    bay = Bay.objects.filter(site_id=site_id, place__retired_at=None).first()
    if order is None or bay is None:
        return 0.0
    minutes = order.duration.get("base_min", 0) + bay.area_m2 * order.duration.get("per_m2_min", 0)
    return float(minutes / MIN_H)


def _people_there_h_d(site_id: int) -> float:
    """Sum the hours on shift of an average day, breaks taken off: 1 query."""
    minutes = 0.0
    rows = Rotation.objects.filter(site_id=site_id, worker__retired_at=None)
    for turn in rows.select_related("pattern"):
        breaks_min = sum(rest["length_min"] for rest in turn.pattern.breaks)
        share = turn.days_on / (turn.days_on + turn.days_off)
        minutes += share * (turn.pattern.duration_min - breaks_min)
    return minutes / MIN_H
