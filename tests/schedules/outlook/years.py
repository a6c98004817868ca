"""A small farm and made-up weather for tests of the year ahead."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from equipment.weather.calc.members import ClimateHistory
from schedules.outlook.calc.members import YearMembers, draw_years
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
from schedules.sand.calc.layer import Layer

START_ON = date(2026, 1, 1)
LATITUDE_DEG = 38.6


def history(seed: int = 1) -> ClimateHistory:
    """Eleven years of seasons with showers."""
    day = np.arange("2015-01-01", "2026-01-01", dtype="datetime64[D]")
    rng = np.random.default_rng(seed)
    season = -np.cos(2 * np.pi * (np.arange(day.size) % 365) / 365)
    rain_mm = np.where(rng.random(day.size) < 0.2, rng.gamma(0.7, 8, day.size), 0.0)
    return ClimateHistory(day, 3.2 + 2.2 * season + rng.random(day.size), rain_mm)


def years(n_members: int = 20, *, first: int = 0, seed: int = 7, n_days: int = 365) -> YearMembers:
    return draw_years(
        history(), START_ON, seed=seed, first=first, n_members=n_members, n_days=n_days
    )


def even_years(n_days: int, *, et0_mm: float = 5.0, rain_mm: float = 0.0) -> YearMembers:
    """One member without any chance in it."""
    shape = (1, n_days)
    return YearMembers(
        np.full(shape, et0_mm),
        np.full(shape, rain_mm),
        np.zeros(shape, dtype=np.int8),
        np.ones(shape, dtype=np.int8),
        *(np.zeros(1) for _ in range(5)),
    )


def scenario(**changes: Any) -> Scenario:
    """Give a yard that keeps up: 50 t a day, six bays of 100 t, piles that cure for 40 days."""
    yard = Yard(
        drain_d=2,
        slab_kg=300_000,
        layer=Layer(),
        turned_depth_m=0.25,
        turns_d=2,
        spread_moisture_wb_frac=0.10,
        dry_moisture_wb_frac=0.05,
        hold_d=2,
        pile_close_d=8,
        cure_d=40,
        bays=(BayNow(capacity_kg=100_000),) * 6,
        piles=(PileNow(capacity_kg=500_000, dry_kg=400_000),) * 4
        + (PileNow(capacity_kg=500_000),) * 6,
    )
    base = Scenario(
        start_on=START_ON,
        latitude_deg=LATITUDE_DEG,
        use=SandUse(use_kg_d=50_000, recovery_frac=0.8, safety_kg=100_000),
        yard=yard,
        buying=Buying(lead_d=3, truck_kg=25_000),
        basins=Basins(
            basins=tuple(
                BasinNow(full_m3=2600, line_m3=2300, rim_m2=1092, contents_m3=300 * k, sludge_m3=90)
                for k in range(3)
            ),
            solids_m3_d=20,
            liquid_m3_d=500,
            wash_m3_d=20,
            clean_m3_d=200,
            rest_d=20,
        ),
        hours=Hours(
            people_base_h_d=100,
            loader_base_h_d=5,
            people_h_t=0.02,
            loader_h_t=0.02,
            turn_h=0.4,
            clean_h_m3=0.01,
            people_there_h_d=110,
            loader_there_h_d=20,
        ),
    )
    return replace(base, **changes)
