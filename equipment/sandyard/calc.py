"""Sand by bay, pile and moisture: geometry, mass, and the three ways to say how wet it is."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

WATER_KG_M3 = 1000.0
REPOSE_DEG = 34.0  # loose sand; published tables give 25-45° by moisture: a setting of the farm
PORES_FRAC = 0.38  # of a volume of settled sand; common practice, no source
DRY_BULK_DENSITY_KG_M3 = 1600.0  # settled sand, a setting of the farm; common practice, no source

Amount = float | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pile:
    """Measures of a loose pile.

    Parameters
    ----------
    height_m : float
        Crest above the ground. [m]
    volume_m3 : float
        Loose volume. [m³]
    """

    height_m: float
    volume_m3: float


def cone(base_diameter_m: float, repose_deg: float = REPOSE_DEG) -> Pile:
    """Measure a conical pile from its foot.

    Parameters
    ----------
    base_diameter_m : float
        Across the foot, > 0. [m]
    repose_deg : float
        Slope of the face, above 0 and below 60. [deg]

    Returns
    -------
    Pile
        h = r tan φ, V = π r² h / 3.

    Raises
    ------
    ValueError
        A measure out of range.
    """
    return windrow(base_diameter_m, base_diameter_m, repose_deg)


def windrow(length_m: float, width_m: float, repose_deg: float = REPOSE_DEG) -> Pile:
    """Measure a long pile whose ends are half cones.

    Parameters
    ----------
    length_m : float
        Overall, at the foot; as long as wide is a cone. [m]
    width_m : float
        At the foot, > 0. [m]
    repose_deg : float
        Slope of the faces, above 0 and below 60. [deg]

    Returns
    -------
    Pile
        h = (w/2) tan φ, V = ½ w h (L − w) + π (w/2)² h / 3.

    Raises
    ------
    ValueError
        A measure out of range, or shorter than wide.
    """
    if not 0 < width_m <= length_m:
        raise ValueError(f"a pile {length_m} m long and {width_m} m wide cannot be")
    if not 0 < repose_deg < 60:
        raise ValueError(f"repose_deg {repose_deg} is not between 0 and 60")
    height_m = width_m / 2 * math.tan(math.radians(repose_deg))
    prism_m3 = width_m * height_m / 2 * (length_m - width_m)
    return Pile(height_m, prism_m3 + math.pi * (width_m / 2) ** 2 * height_m / 3)


def windrow_length_m(volume_m3: float, width_m: float, repose_deg: float = REPOSE_DEG) -> float:
    """Find how long a windrow of a given width becomes.

    Parameters
    ----------
    volume_m3 : float
        Loose volume to place. [m³]
    width_m : float
        At the foot, > 0. [m]
    repose_deg : float
        Slope of the faces. [deg]

    Returns
    -------
    float
        Overall length at the foot. [m]

    Raises
    ------
    ValueError
        Less than a cone of that width holds, or a measure out of range.
    """
    ends = cone(width_m, repose_deg)
    if volume_m3 < ends.volume_m3:
        raise ValueError(f"{volume_m3} m³ do not fill a cone {width_m} m wide")
    return width_m + (volume_m3 - ends.volume_m3) / (width_m * ends.height_m / 2)


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
        Water over dry sand.

    Raises
    ------
    ValueError
        Out of range.
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
        Water over sand and water.

    Raises
    ------
    ValueError
        Negative.
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
        Water over sand and water.
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
        w = θ ρw/ρb by dry mass, w / (1 + w) by wet mass.
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
    """
    _refuse_outside(moisture_wb_frac, "moisture_wb_frac", below=1.0)
    return wet_kg * (1 - moisture_wb_frac)


def _refuse_outside(value: Amount, name: str, *, below: float) -> None:
    if not np.all((np.asarray(value) >= 0) & (np.asarray(value) < below)):
        raise ValueError(f"{name} {value} is not from 0 to below {below}")
