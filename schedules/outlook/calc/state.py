"""The rules of a year and the state of one member, as compiled code takes them."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.subdaily import N_HOURS, sun_shares
from schedules.outlook.calc.scenario import BayNow, Scenario
from schedules.sand.calc.drying import Turning
from schedules.sand.calc.layer import zones_m
from schedules.sand.calc.step import N_ZONES

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

# Of State.sand
LANE, WAITING, STOCK, LOST, BOUGHT = range(5)
N_SAND = 5


class Rules(NamedTuple):
    """What is the same for all members; names and units as in `Scenario`."""

    season: Floats  # of each day
    use_kg_d: float
    screening_loss_frac: float
    safety_kg: float
    lead_d: int  # 0 where nothing is bought
    truck_kg: float
    drain_d: int
    slab_kg: float
    bay_kg: Floats
    least_bay_kg: float
    pile_kg: Floats
    pile_close_d: int
    cure_d: int
    zone_m: Floats
    pores_frac: float
    floor_mm: float
    drained_frac: float
    spread_mm: float
    dry_mm: float
    hold_d: int
    n_turns: Whole  # of each step of a day
    skip_rain_mm: float
    sun: Floats  # share of each day's ET0 in each step
    basin: Floats  # rows: full, line, rim, open, sludge, weep
    settled_m3_d: float
    liquid_m3_d: float
    wash_m3_d: float
    clean_m3_d: float
    rest_d: int
    can_clean: NDArray[np.bool_]
    people: Floats  # base_h_d, h_t
    loader: Floats
    turn_h: float
    clean_h_m3: float


class State(NamedTuple):
    """One member's sand and basins; all arrays are changed in place."""

    sand: Floats
    draining_kg: Floats  # by day modulo drain_d
    ordered_kg: Floats  # by day modulo lead_d
    bay_kg: Floats
    zone_mm: Floats
    held_d: Whole
    pile_kg: Floats
    opened_d: Whole
    ready_d: Whole
    liquid_m3: Floats
    solids_m3: Floats
    rests_since_d: Whole  # -1 while it is filled


def rules_of(scenario: Scenario, n_days: int, *, is_hourly: bool) -> Rules:
    """Lay a scenario on its days."""
    use, yard, basins, hours = scenario.use, scenario.yard, scenario.basins, scenario.hours
    step_h = 1 if is_hourly else N_HOURS
    turning = Turning((yard.turns_d,), depth_m=max(yard.turned_depth_m, 1e-6))
    month = _months(scenario.start_on, n_days)
    sun = sun_shares(scenario.start_on, n_days, scenario.latitude_deg)
    return Rules(
        season=np.array(use.season)[month],
        use_kg_d=float(use.use_kg_d),
        screening_loss_frac=float(use.screening_loss_frac),
        safety_kg=float(use.safety_kg),
        lead_d=scenario.buying.lead_d if scenario.buying else 0,
        truck_kg=float(scenario.buying.truck_kg) if scenario.buying else 0.0,
        drain_d=yard.drain_d,
        slab_kg=float(yard.slab_kg),
        bay_kg=np.array([bay.capacity_kg for bay in yard.bays], dtype=float),
        least_bay_kg=min(float(bay.capacity_kg) for bay in yard.bays),
        pile_kg=np.array([pile.capacity_kg for pile in yard.piles], dtype=float),
        pile_close_d=yard.pile_close_d,
        cure_d=yard.cure_d,
        zone_m=zones_m(yard.layer, yard.turned_depth_m if yard.turns_d else 0.0),
        pores_frac=yard.layer.theta_sat_frac,
        floor_mm=yard.layer.floor_mm,
        drained_frac=yard.layer.drained_frac(step_h),
        spread_mm=float(yard.layer.water_mm(np.array(yard.spread_moisture_wb_frac))),
        dry_mm=float(yard.layer.water_mm(np.array(yard.dry_moisture_wb_frac))),
        hold_d=yard.hold_d,
        n_turns=turning.by_step(step_h),
        skip_rain_mm=turning.skip_rain_mm,
        sun=sun if is_hourly else np.ones((n_days, 1)),
        basin=np.array(
            [
                (b.full_m3, b.line_m3, b.rim_m2, b.open_frac * b.rim_m2, b.sludge_m3, b.weep_frac)
                for b in basins.basins
            ],
            dtype=float,
        ).reshape(-1, 6),
        settled_m3_d=float(basins.solids_m3_d) / basins.n_filling,
        liquid_m3_d=float(basins.liquid_m3_d) / basins.n_filling,
        wash_m3_d=float(basins.wash_m3_d) / basins.n_filling,
        clean_m3_d=float(basins.clean_m3_d),
        rest_d=basins.rest_d,
        can_clean=np.array(basins.clean_months)[month],
        people=np.array([hours.people_base_h_d, hours.people_h_t]),
        loader=np.array([hours.loader_base_h_d, hours.loader_h_t]),
        turn_h=float(hours.turn_h),
        clean_h_m3=float(hours.clean_h_m3),
    )


def first_state(scenario: Scenario) -> State:
    """Give the farm as it stands on the first morning."""
    yard, basins = scenario.yard, scenario.basins.basins
    sand = np.zeros(N_SAND)
    sand[WAITING] = yard.draining_kg
    bays, piles = yard.bays, yard.piles
    lead_d = scenario.buying.lead_d if scenario.buying else 0
    n_filling = scenario.basins.n_filling
    return State(
        sand=sand,
        draining_kg=np.zeros(max(yard.drain_d, 1)),
        ordered_kg=np.zeros(max(lead_d, 1)),
        bay_kg=np.array([bay.dry_kg for bay in bays], dtype=float),
        zone_mm=_zones_now(scenario, bays),
        held_d=np.zeros(len(bays), dtype=np.int64),
        pile_kg=np.array([pile.dry_kg for pile in piles], dtype=float),
        opened_d=np.zeros(len(piles), dtype=np.int64),
        ready_d=np.array([pile.ready_in_d for pile in piles], dtype=np.int64),
        liquid_m3=np.zeros(len(basins)),
        solids_m3=np.array([basin.contents_m3 for basin in basins], dtype=float),
        rests_since_d=np.array(
            [-1 if k < n_filling else 0 for k in range(len(basins))], dtype=np.int64
        ),
    )


def copied(state: State) -> State:
    """Give each member a state of its own."""
    return State(
        sand=state.sand.copy(),
        draining_kg=state.draining_kg.copy(),
        ordered_kg=state.ordered_kg.copy(),
        bay_kg=state.bay_kg.copy(),
        zone_mm=state.zone_mm.copy(),
        held_d=state.held_d.copy(),
        pile_kg=state.pile_kg.copy(),
        opened_d=state.opened_d.copy(),
        ready_d=state.ready_d.copy(),
        liquid_m3=state.liquid_m3.copy(),
        solids_m3=state.solids_m3.copy(),
        rests_since_d=state.rests_since_d.copy(),
    )


def _zones_now(scenario: Scenario, bays: tuple[BayNow, ...]) -> Floats:
    """Spread each bay's water evenly: how it lies within the layer is not known."""
    yard = scenario.yard
    zone_m = zones_m(yard.layer, yard.turned_depth_m if yard.turns_d else 0.0)
    water_mm = np.array([bay.water_mm for bay in bays], dtype=float)
    zones_mm: Floats = (water_mm[:, None] * (zone_m / zone_m.sum())).reshape(-1, N_ZONES)
    return zones_mm


def _months(start_on: date, n_days: int) -> Whole:
    return np.array(
        [(start_on + timedelta(days=k)).month - 1 for k in range(n_days)], dtype=np.int64
    )
