"""Sand by bay, pile and moisture, and what a settling lane catches of it."""

from equipment.sandyard.calc.gradation import GRADATIONS, SIEVES_M, Gradation, named_gradation
from equipment.sandyard.calc.lane import (
    Caught,
    LaneFlow,
    captured,
    captured_frac,
    overflow_rate_m_s,
    scour_velocity_m_s,
)
from equipment.sandyard.calc.moisture import (
    DRY_BULK_DENSITY_KG_M3,
    PORES_FRAC,
    WATER_KG_M3,
    Amount,
    dry_basis_frac,
    dry_kg,
    layer_dry_kg,
    water_of_wet_basis_mm,
    wet_basis_frac,
    wet_basis_of_volume_frac,
    wet_basis_of_water_frac,
)
from equipment.sandyard.calc.piles import REPOSE_DEG, Pile, cone, windrow, windrow_length_m
from equipment.sandyard.calc.recovery import MeasuredRecovery, Period, calibrate_recovery
from equipment.sandyard.calc.settling import (
    natural_grain_velocity_m_s,
    reynolds,
    sphere_velocity_m_s,
    stokes_is_valid,
    stokes_velocity_m_s,
)
from equipment.sandyard.calc.water import water_density_kg_m3, water_viscosity_pa_s

__all__ = [
    "DRY_BULK_DENSITY_KG_M3",
    "GRADATIONS",
    "PORES_FRAC",
    "REPOSE_DEG",
    "SIEVES_M",
    "WATER_KG_M3",
    "Amount",
    "Caught",
    "Gradation",
    "LaneFlow",
    "MeasuredRecovery",
    "Period",
    "Pile",
    "calibrate_recovery",
    "captured",
    "captured_frac",
    "cone",
    "dry_basis_frac",
    "dry_kg",
    "layer_dry_kg",
    "named_gradation",
    "natural_grain_velocity_m_s",
    "overflow_rate_m_s",
    "reynolds",
    "scour_velocity_m_s",
    "sphere_velocity_m_s",
    "stokes_is_valid",
    "stokes_velocity_m_s",
    "water_density_kg_m3",
    "water_of_wet_basis_mm",
    "water_viscosity_pa_s",
    "wet_basis_frac",
    "wet_basis_of_volume_frac",
    "wet_basis_of_water_frac",
    "windrow",
    "windrow_length_m",
]
