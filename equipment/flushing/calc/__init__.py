"""Flush runs: flow in the alley, water in the tank, and where the water goes."""

from equipment.flushing.calc.hydraulics import (
    AlleyFlush,
    FlushPractice,
    Shortfall,
    ShortfallCode,
    find_shortfalls,
    hydraulic_radius,
    normal_depth_m,
    velocity_ft_s,
    velocity_m_s,
)
from equipment.flushing.calc.reach import (
    Block,
    PlannedRun,
    blocks_of_run,
    locks_in_way,
    run_path,
    water_path,
)
from equipment.flushing.calc.tank import Draw, FlushTank, TankDay, TankStep, run_tank

__all__ = [
    "AlleyFlush",
    "Block",
    "Draw",
    "FlushPractice",
    "FlushTank",
    "PlannedRun",
    "Shortfall",
    "ShortfallCode",
    "TankDay",
    "TankStep",
    "blocks_of_run",
    "find_shortfalls",
    "hydraulic_radius",
    "locks_in_way",
    "normal_depth_m",
    "run_path",
    "run_tank",
    "velocity_ft_s",
    "velocity_m_s",
    "water_path",
]
