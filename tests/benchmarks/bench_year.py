"""A thousand years of the demo farm's pads, piles, stages and basins, against bare numpy.

The bound is per state update. Only bays that hold sand count as updated, and the reference is given
so many members that both do as many updates, to a tenth of a percent.
"""

from datetime import date
from pathlib import Path

import numpy as np

from equipment.weather.calc.members import ClimateHistory
from schedules.outlook.calc.members import YEAR_D, YearMembers, draw_years
from schedules.outlook.calc.scenario import (
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
from schedules.outlook.calc.simulate import N_STEPPED, YearRun, simulate_year
from schedules.sand.calc.layer import Layer
from tests.benchmarks import reference_year
from tests.benchmarks.cases import Case

N_MEMBERS, SEED = 1_000, 20261125
N_BAYS, N_PILES, N_BASINS = 12, 12, 5
# piles; lane, slab by its two draining days and what waits, bought stock; liquid and solids
N_OTHERS = N_PILES + 5 + 2 * N_BASINS


def demo_scenario() -> Scenario:
    """Give the demo farm's sizes, as its farm file has them."""
    yard = Yard(
        drain_d=2,
        draining_kg=150_000,
        slab_kg=500_000,
        layer=Layer(thickness_m=0.35),
        turned_depth_m=0.35,
        turns_d=2,
        spread_moisture_wb_frac=0.10,
        dry_moisture_wb_frac=0.05,
        hold_d=6,
        pile_close_d=8,
        cure_d=60,
        bays=(BayNow(capacity_kg=98_000, dry_kg=98_000, water_mm=45),) * 8
        + (BayNow(capacity_kg=98_000),) * (N_BAYS - 8),
        piles=tuple(
            PileNow(capacity_kg=600_000, dry_kg=528_000 if k < 9 else 0, ready_in_d=8 * k)
            for k in range(N_PILES)
        ),
    )
    basin = BasinNow(full_m3=2_620, line_m3=2_290, rim_m2=1_092, sludge_m3=109, open_frac=0.3)
    return Scenario(
        start_on=date(2026, 11, 25),
        latitude_deg=38.6,
        use=SandUse(use_kg_d=84_568, recovery_frac=0.78, recovery_sd_frac=0.03, safety_kg=250_000),
        yard=yard,
        buying=Buying(lead_d=4, truck_kg=25_000),
        basins=Basins(
            basins=(basin,) * N_BASINS,
            n_filling=2,
            solids_m3_d=60,
            liquid_m3_d=1_300,
            clean_m3_d=300,
            rest_d=30,
        ),
        hours=Hours(people_base_h_d=250, people_h_t=0.01, loader_h_t=0.01, turn_h=0.45),
    )


def draw_members(n_members: int) -> YearMembers:
    """Draw years from eleven invented ones of a dry plain."""
    day = np.arange("2015-01-01", "2026-01-01", dtype="datetime64[D]")
    rng = np.random.default_rng(SEED)
    season = -np.cos(2 * np.pi * (np.arange(day.size) % 365) / 365)
    rain_mm = np.where(rng.random(day.size) < 0.25, rng.gamma(0.7, 7, day.size), 0.0)
    history = ClimateHistory(day, 3.4 + 2.4 * season + rng.random(day.size), rain_mm)
    start_on = demo_scenario().start_on
    return draw_years(history, start_on, seed=SEED, first=0, n_members=n_members)


def n_updates(run: YearRun) -> int:
    """Count a run's state updates as the reference counts its own."""
    return int(run.total[:, N_STEPPED].sum()) + run.flag.size * N_OTHERS


def cases() -> list[Case]:
    farm, members = demo_scenario(), draw_members(N_MEMBERS)
    return [_case(farm, members, is_hourly=is_hourly) for is_hourly in (False, True)]


def _case(farm: Scenario, members: YearMembers, *, is_hourly: bool) -> Case:
    steps_a_day = 24 if is_hourly else 1
    a_member = YEAR_D * (N_BAYS * steps_a_day + N_OTHERS)
    updates = n_updates(simulate_year(farm, members, is_hourly=is_hourly))
    n = round(updates / a_member)
    rain_mm = np.ascontiguousarray(members.rain_mm[:n].T)
    et0_mm = np.ascontiguousarray(members.et0_mm[:n].T)
    step = "hourly" if is_hourly else "daily"
    return Case(
        name=f"year, {N_MEMBERS} members, {step} pads, {updates / 1e6:.0f} M updates",
        ours=lambda: simulate_year(farm, members, is_hourly=is_hourly),
        reference=lambda: reference_year.follow_year(
            rain_mm, et0_mm, n_bays=N_BAYS, n_others=N_OTHERS, steps_a_day=steps_a_day
        ),
        at_most=3.0,
        reference_file=Path(reference_year.__file__),
    )
