"""Flush runs: flow in the alley, water in the tank, and where the water goes."""

from equipment.flushing.calc.adequacy import (
    FlushPractice,
    Regime,
    Shortfall,
    ShortfallCode,
    find_shortfalls,
    regime_of,
)
from equipment.flushing.calc.balance import WaterBalance, WaterDay, WaterStore, balance_days
from equipment.flushing.calc.conflicts import Conflict, Presence, Who, find_conflicts
from equipment.flushing.calc.frost import FrostLimits, FrostRule, frost_rule
from equipment.flushing.calc.hydraulics import (
    AlleyFlush,
    chezy_coefficient,
    chezy_velocity_m_s,
    hydraulic_radius,
    normal_depth_m,
    velocity_m_s,
)
from equipment.flushing.calc.reach import (
    Block,
    PlannedRun,
    blocks_of_run,
    water_path,
)
from equipment.flushing.calc.tank import (
    NOTHING_M3,
    Draw,
    FlushTank,
    TankDay,
    TankStep,
    run_tank,
)

__all__ = [
    "NOTHING_M3",
    "AlleyFlush",
    "Block",
    "Conflict",
    "Draw",
    "FlushPractice",
    "FlushTank",
    "FrostLimits",
    "FrostRule",
    "PlannedRun",
    "Presence",
    "Regime",
    "Shortfall",
    "ShortfallCode",
    "TankDay",
    "TankStep",
    "WaterBalance",
    "WaterDay",
    "WaterStore",
    "Who",
    "balance_days",
    "blocks_of_run",
    "chezy_coefficient",
    "chezy_velocity_m_s",
    "find_conflicts",
    "find_shortfalls",
    "frost_rule",
    "hydraulic_radius",
    "normal_depth_m",
    "regime_of",
    "run_tank",
    "velocity_m_s",
    "water_path",
]
