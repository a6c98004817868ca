"""Sand by mass and moisture: the three ways to say how wet it is."""

import math

import numpy as np
from numpy.typing import NDArray

WATER_KG_M3 = 1000.0
PORES_FRAC = 0.38  # of a volume of settled sand; common practice, no source
DRY_BULK_DENSITY_KG_M3 = 1600.0  # settled sand, a setting of the farm; common practice, no source

Amount = float | NDArray[np.float64]


def layer_dry_kg(
    area_m2: float, thickness_m: float, dry_bulk_density_kg_m3: float = DRY_BULK_DENSITY_KG_M3
) -> float:
    """Weigh an even layer of sand without its water.

    Parameters
    ----------
    area_m2 : float
        Of the bay. [m²]
    thickness_m : float
        Of the layer. [m]
    dry_bulk_density_kg_m3 : float
        Dry sand in a cubic metre of layer. [kg m⁻³]

    Returns
    -------
    float
        Dry mass. [kg]

    Raises
    ------
    ValueError
        A negative measure.

    Notes
    -----
    Valid: measures of 0 or more; refused below.

    Checked: tests/equipment/sandyard/test_calc.py::test_masses

    References
    ----------
    Arithmetic.
    """
    if min(area_m2, thickness_m, dry_bulk_density_kg_m3) < 0:
        raise ValueError("area, thickness and density cannot be negative")
    return area_m2 * thickness_m * dry_bulk_density_kg_m3


def dry_basis_frac(moisture_wb_frac: Amount) -> Amount:
    """Turn moisture by wet mass into moisture by dry mass.

    Parameters
    ----------
    moisture_wb_frac : float or ndarray
        Water over sand and water, 0 ≤ w < 1.

    Returns
    -------
    float or ndarray
        Water over dry sand. [-]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: 0 ≤ w < 1; refused outside.

    Checked: tests/equipment/sandyard/test_calc.py::test_wet_and_dry_basis_of_the_usual_moistures,
    test_arrays_equal_scalars

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    _refuse_outside(moisture_wb_frac, "moisture_wb_frac", below=1.0)
    return moisture_wb_frac / (1 - moisture_wb_frac)


def wet_basis_frac(moisture_db_frac: Amount) -> Amount:
    """Turn moisture by dry mass into moisture by wet mass.

    Parameters
    ----------
    moisture_db_frac : float or ndarray
        Water over dry sand, ≥ 0.

    Returns
    -------
    float or ndarray
        Water over sand and water. [-]

    Raises
    ------
    ValueError
        Negative.

    Notes
    -----
    Valid: 0 or more; refused below.

    Checked: tests/equipment/sandyard/test_calc.py::test_wet_and_dry_basis_of_the_usual_moistures

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    _refuse_outside(moisture_db_frac, "moisture_db_frac", below=math.inf)
    return moisture_db_frac / (1 + moisture_db_frac)


def wet_basis_of_water_frac(
    water_mm: Amount,
    thickness_m: Amount,
    dry_bulk_density_kg_m3: float = DRY_BULK_DENSITY_KG_M3,
) -> Amount:
    """Turn a depth of water in a layer into moisture by wet mass.

    Parameters
    ----------
    water_mm : float or ndarray
        Water in the layer, ≥ 0; 1 mm is 1 kg m⁻². [mm]
    thickness_m : float or ndarray
        Of the layer, > 0. [m]
    dry_bulk_density_kg_m3 : float
        Of the sand. [kg m⁻³]

    Returns
    -------
    float or ndarray
        Water over sand and water. [-]

    Notes
    -----
    Valid: water_mm of 0 or more; refused below.

    Checked: tests/equipment/sandyard/test_calc.py::test_water_depth_and_moisture_are_inverse

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    return wet_basis_frac(water_mm / (thickness_m * dry_bulk_density_kg_m3))


def water_of_wet_basis_mm(
    moisture_wb_frac: Amount,
    thickness_m: float,
    dry_bulk_density_kg_m3: float = DRY_BULK_DENSITY_KG_M3,
) -> Amount:
    """Turn moisture by wet mass into a depth of water in a layer.

    Parameters
    ----------
    moisture_wb_frac : float or ndarray
        Water over sand and water, 0 ≤ w < 1.
    thickness_m : float
        Of the layer. [m]
    dry_bulk_density_kg_m3 : float
        Of the sand. [kg m⁻³]

    Returns
    -------
    float or ndarray
        Water in the layer. [mm]

    Notes
    -----
    Valid: 0 ≤ w < 1; refused outside.

    Checked: tests/equipment/sandyard/test_calc.py::test_a_foot_of_sand_gives_up_40_mm

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    return dry_basis_frac(moisture_wb_frac) * thickness_m * dry_bulk_density_kg_m3


def wet_basis_of_volume_frac(
    theta_frac: Amount, dry_bulk_density_kg_m3: float = DRY_BULK_DENSITY_KG_M3
) -> Amount:
    """Turn water by volume, as soil physics counts it, into moisture by wet mass.

    Parameters
    ----------
    theta_frac : float or ndarray
        m³ of water in a m³ of layer, ≥ 0.
    dry_bulk_density_kg_m3 : float
        Of the sand. [kg m⁻³]

    Returns
    -------
    float or ndarray
        w = θ ρw/ρb by dry mass, w / (1 + w) by wet mass. [-]

    Notes
    -----
    Valid: 0 or more; refused below.

    Checked: tests/equipment/sandyard/test_calc.py::test_water_by_volume_at_1600_kg_per_cubic_metre

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    return wet_basis_frac(theta_frac * WATER_KG_M3 / dry_bulk_density_kg_m3)


def dry_kg(wet_kg: Amount, moisture_wb_frac: Amount) -> Amount:
    """Take the water out of a mass of wet sand.

    Parameters
    ----------
    wet_kg : float or ndarray
        As weighed. [kg]
    moisture_wb_frac : float or ndarray
        Water over sand and water, 0 ≤ w < 1.

    Returns
    -------
    float or ndarray
        Dry mass. [kg]

    Notes
    -----
    Valid: 0 ≤ w < 1; refused outside.

    Checked: tests/equipment/sandyard/test_calc.py::test_masses

    References
    ----------
    ASTM D2216 (water content by dry mass), definition; arithmetic.
    """
    _refuse_outside(moisture_wb_frac, "moisture_wb_frac", below=1.0)
    return wet_kg * (1 - moisture_wb_frac)


def _refuse_outside(value: Amount, name: str, *, below: float) -> None:
    if not np.all((np.asarray(value) >= 0) & (np.asarray(value) < below)):
        raise ValueError(f"{name} {value} is not from 0 to below {below}")
