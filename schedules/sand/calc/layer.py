"""A layer of sand on a pad: what it holds, what it lets go, and how far down the sun reaches."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from equipment.sandyard.calc import (
    PORES_FRAC,
    WATER_KG_M3,
    dry_basis_frac,
    water_of_wet_basis_mm,
    wet_basis_of_volume_frac,
    wet_basis_of_water_frac,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer of sand; every figure is a setting of the farm.

    Parameters
    ----------
    thickness_m : float
        As spread. [m]
    dry_bulk_density_kg_m3 : float
        Dry sand in a cubic metre of layer. [kg m⁻³]
    theta_sat_frac, theta_fc_frac, theta_wp_frac : float
        Water by volume when all pores are full, when drained, and when plants could draw no more.
        Sand: field capacity 0.07 to 0.17, wilting point 0.02 to 0.07 (FAO-56 Table 19).
    evaporation_depth_m : float
        Ze, how far down the air draws water without turning; FAO-56 takes 0.10 to 0.15. [m]
    rew_mm : float
        Water that leaves the surface zone at the full rate after wetting; sand 2 to 7 (FAO-56
        Table 19). [mm]
    kc_bare : float
        Evaporation of the wet bare pad over ET0; 1.2 is Kcmax of FAO-56 eq. 72 in its standard
        climate.
    drain_half_time_h : float
        Hours in which half the water above field capacity runs off; 0 is at once. Common practice,
        no source. [h]

    Raises
    ------
    ValueError
        A figure that cannot be, one message per rule.

    Notes
    -----
    Valid: the ranges that are refused outside; FAO-56's are those of natural sand, so that washed
    bedding sand wants a measured field capacity.
    Checked: tests/schedules/sand/test_drying.py::test_the_soil_is_that_of_the_reference_run,
    test_a_layer_that_cannot_be_is_refused

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, ch. 7,
    Table 19 (restated in public code).
    """

    thickness_m: float = 0.25
    dry_bulk_density_kg_m3: float = 1600.0
    theta_sat_frac: float = PORES_FRAC
    theta_fc_frac: float = 0.12
    theta_wp_frac: float = 0.04
    evaporation_depth_m: float = 0.10
    rew_mm: float = 5.0
    kc_bare: float = 1.2
    drain_half_time_h: float = 12.0

    def __post_init__(self) -> None:
        if not 0 < self.thickness_m <= 3:
            raise ValueError(f"thickness_m {self.thickness_m} is not above 0 and up to 3")
        if not 500 <= self.dry_bulk_density_kg_m3 <= 2650:
            raise ValueError(f"dry_bulk_density_kg_m3 {self.dry_bulk_density_kg_m3} is no sand's")
        if not 0 <= self.theta_wp_frac < self.theta_fc_frac < self.theta_sat_frac < 1:
            raise ValueError("0 ≤ theta_wp < theta_fc < theta_sat < 1 does not hold")
        if not self.evaporation_depth_m > 0:
            raise ValueError(f"evaporation_depth_m {self.evaporation_depth_m} is not above 0")
        if min(self.rew_mm, self.kc_bare, self.drain_half_time_h) < 0:
            raise ValueError("rew_mm, kc_bare and drain_half_time_h cannot be negative")

    @property
    def surface_m(self) -> float:
        """Depth of the zone that the air dries: Ze, or the whole of a thinner layer. [m]."""
        return min(self.evaporation_depth_m, self.thickness_m)

    @property
    def tew_mm(self) -> float:
        """Water that can evaporate from the surface zone after draining.

        Returns
        -------
        float
            TEW = 1000 (θFC − 0.5 θWP) Ze. [mm]

        Notes
        -----
        Valid: any layer; one thinner than Ze counts with its thickness.
        Checked: tests/schedules/sand/test_drying.py::test_the_soil_is_that_of_the_reference_run

        References
        ----------
        FAO-56 (1998), eq. 73.
        """
        return WATER_KG_M3 * (self.theta_fc_frac - 0.5 * self.theta_wp_frac) * self.surface_m

    def falling_mm(self, theta_fc_frac: Floats) -> Floats:
        """Tell the part of TEW that leaves at a falling rate.

        Parameters
        ----------
        theta_fc_frac : ndarray
            Field capacity.

        Returns
        -------
        ndarray
            TEW − REW, at least 0. [mm]
        """
        tew_mm = WATER_KG_M3 * (theta_fc_frac - 0.5 * self.theta_wp_frac) * self.surface_m
        falling_mm: Floats = np.maximum(tew_mm - self.rew_mm, 0.0)
        return falling_mm

    def require_capacity(self, theta_fc_frac: Floats) -> Floats:
        """Return field capacities that this sand can have.

        Parameters
        ----------
        theta_fc_frac : ndarray
            Water by volume when drained.

        Returns
        -------
        ndarray
            The same.

        Raises
        ------
        ValueError
            Not between wilting point and saturation.
        """
        if not np.all((theta_fc_frac > self.theta_wp_frac) & (theta_fc_frac < self.theta_sat_frac)):
            raise ValueError("theta_fc_frac is not between theta_wp_frac and theta_sat_frac")
        return theta_fc_frac

    @property
    def floor_mm(self) -> float:
        """Water in the surface zone that no sun takes. [mm]."""
        return WATER_KG_M3 * 0.5 * self.theta_wp_frac * self.surface_m

    def drained_frac(self, step_h: float) -> float:
        """Tell what share of the water above field capacity runs off in a step.

        Parameters
        ----------
        step_h : float
            Its length, > 0. [h]

        Returns
        -------
        float
            1 − 2^(−step / half-time); all where the half-time is 0. [-]

        Notes
        -----
        Valid: steps above 0.
        Checked: tests/schedules/sand/test_drying.py::
        test_draining_by_the_hour_is_draining_by_the_day,
        tests/schedules/sand/test_step.py::test_two_half_times_drain_three_quarters

        References
        ----------
        Common practice, no source: a half-time, the farm's setting.
        """
        if self.drain_half_time_h == 0:
            return 1.0
        return float(1 - 2 ** (-step_h / self.drain_half_time_h))

    def water_mm(self, moisture_wb_frac: Floats) -> Floats:
        """Turn moisture of the whole layer into water in it.

        Parameters
        ----------
        moisture_wb_frac : ndarray
            Water over wet sand.

        Returns
        -------
        ndarray
            Water in the layer. [mm]
        """
        return np.asarray(
            water_of_wet_basis_mm(moisture_wb_frac, self.thickness_m, self.dry_bulk_density_kg_m3)
        )

    def moisture_wb_frac(self, water_mm: Floats, depth_m: float | None = None) -> Floats:
        """Turn water into moisture by wet mass.

        Parameters
        ----------
        water_mm : ndarray
            Water in the uppermost `depth_m`. [mm]
        depth_m : float, optional
            Without it the whole layer. [m]

        Returns
        -------
        ndarray
            Water over wet sand.
        """
        depth_m = self.thickness_m if depth_m is None else depth_m
        return np.asarray(
            wet_basis_of_water_frac(water_mm, depth_m, self.dry_bulk_density_kg_m3), dtype=float
        )


def zones_m(layer: Layer, turned_depth_m: float = 0.0) -> Floats:
    """Part a layer where the air's reach ends, and where the tool's does.

    Parameters
    ----------
    layer : Layer
        The layer.
    turned_depth_m : float
        How deep the tool mixes; no deeper than the layer is. A turn no deeper than the zone that
        dries by itself leaves the second zone without depth, and so changes nothing. [m]

    Returns
    -------
    ndarray, shape (3,)
        Depth of the surface zone, of what a turn mixes with it, and of the rest; sum the layer's
        thickness. [m]
    """
    surface_m = layer.surface_m
    turned_m = max(min(turned_depth_m, layer.thickness_m), surface_m)
    return np.array([surface_m, turned_m - surface_m, layer.thickness_m - turned_m])


def drained_moisture_wb_frac(layer: Layer, moisture_wb_frac: float, drain_h: float) -> float:
    """Tell how wet a heap is after draining.

    Parameters
    ----------
    layer : Layer
        Its sand.
    moisture_wb_frac : float
        As scooped.
    drain_h : float
        Hours left to drain, ≥ 0. [h]

    Returns
    -------
    float
        Never below field capacity unless it began there. [-]

    Raises
    ------
    ValueError
        `drain_h` is negative.

    Notes
    -----
    The water above field capacity halves every `layer.drain_half_time_h`. Evaporation and rain on
    the heap are left out: both are small against what runs off in the first days.

    Valid: any time from 0 on.
    Checked: tests/schedules/sand/test_drying.py::test_heap_after_draining

    References
    ----------
    Common practice, no source: a half-time, the farm's setting.
    """
    if drain_h < 0:
        raise ValueError(f"drain_h {drain_h} is negative")
    density_kg_m3 = layer.dry_bulk_density_kg_m3
    theta_frac = dry_basis_frac(moisture_wb_frac) * density_kg_m3 / WATER_KG_M3
    excess_frac = max(float(theta_frac) - layer.theta_fc_frac, 0.0)
    half_h = layer.drain_half_time_h
    kept = 2 ** (-drain_h / half_h) if half_h > 0 else float(drain_h == 0)
    left_frac = float(theta_frac) - excess_frac * (1 - kept)
    return float(wet_basis_of_volume_frac(left_frac, density_kg_m3))
