"""What a settling lane should catch of a sand, grain by grain: for ranking and trend only.

The ideal basin knows no turbulence, surge, manure solids or re-scour, and these rule in a real
lane: one that should catch 0.25 mm within 4 ft is built 100 ft long. How much a lane gives back is
told by weighed loads (`recovery`); this tells which way it moves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from equipment.flushing.calc import normal_depth_m

from .gradation import Gradation
from .moisture import Amount
from .settling import G_M_S2, QUARTZ_KG_M3, natural_grain_velocity_m_s
from .water import water_density_kg_m3

CAMP_BETA = 0.06  # stickiness of unigranular sand: Water Treatment Unit Processes, Ex. 7.1
CAMP_F = 0.03  # Darcy-Weisbach friction, same example
N_LANE = 0.015  # finished concrete: common textbook roughness


@dataclass(frozen=True, slots=True)
class LaneFlow:
    """Water through a lane.

    Parameters
    ----------
    flow_m3_s : float
        Flow, above 0. [m³ s⁻¹]
    length_m, width_m : float
        Of the part in which sand drops, above 0. [m]
    slope_frac : float
        Fall over length of its floor, above 0. [m m⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.
    """

    flow_m3_s: float
    length_m: float
    width_m: float
    slope_frac: float

    def __post_init__(self) -> None:
        for name in ("flow_m3_s", "length_m", "width_m", "slope_frac"):
            value = getattr(self, name)
            if not 0 < value < float("inf"):
                raise ValueError(f"{name} must be > 0, got {value}")

    @property
    def velocity_m_s(self) -> float:
        """Velocity along the lane by Manning's equation, steady [m s⁻¹]."""
        depth_m = normal_depth_m(
            flow_m3_s=self.flow_m3_s,
            width_m=self.width_m,
            slope_frac=self.slope_frac,
            n_manning=N_LANE,
        )
        return self.flow_m3_s / (self.width_m * float(depth_m))


@dataclass(frozen=True, slots=True)
class Caught:
    """What a lane should catch.

    Parameters
    ----------
    grain_m : ndarray, shape (n_classes,)
        Grains, the coarsest first. [m]
    share_frac : ndarray, shape (n_classes,)
        Their share of the sand. [-]
    captured_frac : ndarray, shape (n_classes,)
        Of each, what settles in the ideal basin. [-]
    is_scoured : ndarray of bool, shape (n_classes,)
        Whether the water along the floor takes it up again.
    """

    grain_m: NDArray[np.float64]
    share_frac: NDArray[np.float64]
    captured_frac: NDArray[np.float64]
    is_scoured: NDArray[np.bool_]

    @property
    def total_frac(self) -> float:
        """Share of the sand that settles, whether or not it stays [-]."""
        return float(np.sum(self.share_frac * self.captured_frac))

    @property
    def kept_frac(self) -> float:
        """Share of the sand that settles and is not scoured [-]."""
        return float(np.sum(self.share_frac * self.captured_frac * ~self.is_scoured))


def overflow_rate_m_s(flow: LaneFlow) -> float:
    """Compute the overflow rate of a lane.

    Parameters
    ----------
    flow : LaneFlow
        The water.

    Returns
    -------
    float
        Flow over area: grains that fall faster are all caught in the ideal basin. [m s⁻¹]

    Notes
    -----
    Valid: an ideal basin: even flow, no turbulence.

    Checked: tests/equipment/sandyard/test_lane.py::test_overflow_rate_of_a_published_size

    References
    ----------
    Camp, "Sedimentation and the design of settling tanks", Trans. ASCE 111, 1946: v0 = Q / A.
    """
    return flow.flow_m3_s / (flow.length_m * flow.width_m)


def captured_frac(fall_m_s: Amount, overflow_m_s: float) -> Amount:
    """Compute which share of grains an ideal basin catches.

    Parameters
    ----------
    fall_m_s : float or ndarray
        Their fall velocity, 0 or more. [m s⁻¹]
    overflow_m_s : float
        Overflow rate, above 0. [m s⁻¹]

    Returns
    -------
    float or ndarray
        v / v0, at most 1. [-]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: as `overflow_rate_m_s`; grains spread evenly over the depth at the inlet.

    Checked: tests/equipment/sandyard/test_lane.py::test_half_the_overflow_rate_catches_half,
    test_a_single_grain_falls_through_the_water_it_meets

    References
    ----------
    Camp 1946 (see `overflow_rate_m_s`).
    """
    if not 0 < overflow_m_s < float("inf"):
        raise ValueError(f"overflow_m_s must be > 0, got {overflow_m_s}")
    if not np.all(np.asarray(fall_m_s) >= 0):
        raise ValueError(f"fall_m_s must be 0 or more, got {fall_m_s}")
    found = np.minimum(np.asarray(fall_m_s) / overflow_m_s, 1.0)
    return float(found) if found.ndim == 0 else found


def scour_velocity_m_s(
    grain_m: Amount,
    *,
    grain_kg_m3: float = QUARTZ_KG_M3,
    water_degc: float = 20.0,
    beta: float = CAMP_BETA,
    friction: float = CAMP_F,
) -> Amount:
    """Compute the velocity along the floor that takes settled grains up again.

    Parameters
    ----------
    grain_m : float or ndarray
        Diameter, above 0. [m]
    grain_kg_m3 : float
        Density of the grain, above that of water. [kg m⁻³]
    water_degc : float
        Temperature of the water, 0 to 40. [°C]
    beta : float
        How grains stick together: 0.04 for single grains, 0.06 and more for sticky sand. [-]
    friction : float
        Darcy-Weisbach friction of the floor, 0.02 to 0.03. [-]

    Returns
    -------
    float or ndarray
        Velocity. [m s⁻¹]

    Raises
    ------
    ValueError
        A value out of range.

    Notes
    -----
    Valid: grains of one size on a flat bed; manure among the sand changes both beta and friction.

    Checked: tests/equipment/sandyard/test_lane.py::test_scour_velocity_of_the_published_example

    References
    ----------
    Camp 1946; Hendricks, Fundamentals of Water Treatment Unit Processes, example 7.1, p. 137:
    v = √(8 β g (s − 1) d / f).
    """
    if not (np.all(np.asarray(grain_m) > 0) and beta > 0 and friction > 0):
        raise ValueError(f"grain_m, beta and friction must be > 0: {grain_m}, {beta}, {friction}")
    excess = grain_kg_m3 / float(water_density_kg_m3(water_degc)) - 1
    if not excess > 0:
        raise ValueError(f"grain_kg_m3 must be above that of water, got {grain_kg_m3}")
    found = np.sqrt(8 * beta * G_M_S2 * excess * np.asarray(grain_m) / friction)
    return float(found) if found.ndim == 0 else found


def captured(flow: LaneFlow, sand: Gradation, *, water_degc: float) -> Caught:
    """Compute what a lane should catch of a sand.

    Parameters
    ----------
    flow : LaneFlow
        The water.
    sand : Gradation
        The sand.
    water_degc : float
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    Caught
        By class of grain. [-]

    Raises
    ------
    ValueError
        A temperature out of range.

    Notes
    -----
    Valid: for ranking and trend only (see the module). Natural grains by Ferguson and Church.

    Checked: tests/equipment/sandyard/test_lane.py::test_a_longer_lane_and_warmer_water_catch_more,
    test_more_flow_catches_less

    References
    ----------
    Camp 1946 (see `overflow_rate_m_s`, `scour_velocity_m_s`).
    """
    grain_m, share_frac = sand.classes()
    fall_m_s = natural_grain_velocity_m_s(grain_m, water_degc=water_degc)
    caught = np.asarray(captured_frac(fall_m_s, overflow_rate_m_s(flow)))
    stays_m_s = np.asarray(scour_velocity_m_s(grain_m, water_degc=water_degc))
    return Caught(grain_m, share_frac, caught, stays_m_s < flow.velocity_m_s)
