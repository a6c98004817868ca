"""How fast grains fall in water: spheres by a library, natural grains, and Stokes where it holds.

All of it is for one grain alone in still, clean water. A lane is neither still nor clean.
"""

import numpy as np
from fluids.drag import v_terminal

from .moisture import Amount
from .water import water_density_kg_m3, water_viscosity_pa_s

G_M_S2 = 9.80665  # standard gravity, BIPM SI Brochure
QUARTZ_KG_M3 = 2650.0  # density of quartz; textbook value
STOKES_RE = 0.3  # beyond it Stokes' law is off by more than about 5 %; common practice, no source
C1, C2 = 18.0, 1.0  # natural sand sieved: Ferguson and Church 2004


def stokes_velocity_m_s(
    grain_m: Amount, *, grain_kg_m3: float = QUARTZ_KG_M3, water_degc: Amount = 20.0
) -> Amount:
    """Compute the fall velocity of a small sphere by Stokes' law.

    Parameters
    ----------
    grain_m : float or ndarray
        Diameter, above 0. [m]
    grain_kg_m3 : float
        Density of the grain, above that of water. [kg m⁻³]
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        Velocity downward. [m s⁻¹]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: Reynolds numbers below about 0.3 (`stokes_is_valid`): of quartz in water of 20 °C grains
    of up to 0.07 mm. Beyond it gives far too much; it is never used to tell what a lane catches.

    Checked: tests/equipment/sandyard/test_settling.py::test_velocities_of_the_published_table,
    test_stokes_is_flagged_out_of_range

    References
    ----------
    Stokes, "On the effect of the internal friction of fluids on the motion of pendulums", 1851:
    v = g (ρp − ρ) D² / (18 μ).
    """
    excess = _excess_kg_m3(grain_m, grain_kg_m3, water_degc)
    return G_M_S2 * excess * grain_m**2 / (18 * water_viscosity_pa_s(water_degc))


def natural_grain_velocity_m_s(
    grain_m: Amount, *, grain_kg_m3: float = QUARTZ_KG_M3, water_degc: Amount = 20.0
) -> Amount:
    """Compute the fall velocity of a natural sand grain.

    Parameters
    ----------
    grain_m : float or ndarray
        Sieve diameter, above 0. [m]
    grain_kg_m3 : float
        Density of the grain, above that of water. [kg m⁻³]
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        Velocity downward. [m s⁻¹]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: silt to gravel (the source's laboratory grains go from 0.07 to 3 mm); tends to Stokes'
    law for small grains.

    Checked: tests/equipment/sandyard/test_settling.py::test_velocities_of_the_published_table,
    test_cold_water_slows_fine_grains, test_heavier_larger_and_warmer_fall_faster

    References
    ----------
    Ferguson and Church, "A simple universal equation for grain settling velocity", J. Sediment.
    Res. 74, 2004, eq. 4: v = R g D² / (C1 ν + √(0.75 C2 R g D³)), C1 = 18, C2 = 1.0.
    """
    excess = _excess_kg_m3(grain_m, grain_kg_m3, water_degc)
    density = water_density_kg_m3(water_degc)
    weight = G_M_S2 * excess / density
    nu_m2_s = water_viscosity_pa_s(water_degc) / density
    return weight * grain_m**2 / (C1 * nu_m2_s + (0.75 * C2 * weight * grain_m**3) ** 0.5)


def sphere_velocity_m_s(
    grain_m: Amount, *, grain_kg_m3: float = QUARTZ_KG_M3, water_degc: Amount = 20.0
) -> Amount:
    """Compute the fall velocity of a smooth sphere of any size, by the library `fluids`.

    Parameters
    ----------
    grain_m : float or ndarray
        Diameter, above 0. [m]
    grain_kg_m3 : float
        Density of the grain, above that of water. [kg m⁻³]
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        Velocity downward. [m s⁻¹]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: Reynolds numbers up to 10⁶; a sphere, so an upper bound for sand.

    Checked: tests/equipment/sandyard/test_settling.py::test_velocities_of_the_published_table,
    test_the_gas_processors_example

    References
    ----------
    `fluids.drag.v_terminal` (fluids 1.3.1), drag of a sphere by its default correlation.
    """
    _excess_kg_m3(grain_m, grain_kg_m3, water_degc)
    found = np.vectorize(v_terminal, otypes=[float])(
        grain_m, grain_kg_m3, water_density_kg_m3(water_degc), water_viscosity_pa_s(water_degc)
    )
    return float(found) if found.ndim == 0 else found


def reynolds(grain_m: Amount, velocity_m_s: Amount, *, water_degc: Amount = 20.0) -> Amount:
    """Compute the Reynolds number of a falling grain.

    Parameters
    ----------
    grain_m : float or ndarray
        Diameter, above 0. [m]
    velocity_m_s : float or ndarray
        Fall velocity. [m s⁻¹]
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        ρ v D / μ. [-]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: everywhere.

    Checked: tests/equipment/sandyard/test_settling.py::test_stokes_is_flagged_out_of_range

    References
    ----------
    Definition.
    """
    density = water_density_kg_m3(water_degc)
    return density * velocity_m_s * grain_m / water_viscosity_pa_s(water_degc)


def stokes_is_valid(grain_m: Amount, *, water_degc: Amount = 20.0) -> bool | np.ndarray:
    """Say whether a quartz grain is small enough for Stokes' law.

    Parameters
    ----------
    grain_m : float or ndarray
        Diameter, above 0. [m]
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    bool or ndarray
        Whether its Reynolds number, at the velocity it really has, is at most 0.3. [-]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: quartz.

    Checked: tests/equipment/sandyard/test_settling.py::test_stokes_is_flagged_out_of_range

    References
    ----------
    Common practice, no source (limits of 0.1 to 1 are in use).
    """
    speed = sphere_velocity_m_s(grain_m, water_degc=water_degc)
    found = np.asarray(reynolds(grain_m, speed, water_degc=water_degc)) <= STOKES_RE
    return bool(found) if found.ndim == 0 else found


def _excess_kg_m3(grain_m: Amount, grain_kg_m3: float, water_degc: Amount) -> Amount:
    """How much heavier than its water a grain is; refuses what does not sink."""
    grains = np.asarray(grain_m)
    if not np.all((grains > 0) & np.isfinite(grains)):
        raise ValueError(f"grain_m must be > 0, got {grain_m}")
    excess = grain_kg_m3 - water_density_kg_m3(water_degc)
    if not (np.all(np.asarray(excess) > 0) and np.isfinite(grain_kg_m3)):
        raise ValueError(f"grain_kg_m3 must be above that of water, got {grain_kg_m3}")
    return excess
