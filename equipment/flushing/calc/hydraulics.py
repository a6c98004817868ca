"""How fast and how deep a flush runs down an alley: Manning's equation for a flat-floored lane.

Manning and Chezy come from `fluids.open_flow`, which has no depth from flow for a channel with
curbs: `normal_depth_m` turns its Manning round.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from fluids import open_flow
from numpy.typing import NDArray

Amount = float | NDArray[np.float64]

_OPEN_FLOW: Any = open_flow  # its annotations name floats, its formulas take arrays too

IN_M = 0.0254  # international inch, exact
N_ALLEY = 0.02  # alley under a normal manure load: Missouri Extension WQ314
PRACTICE_DEPTH_M = 3 * IN_M  # Missouri Extension WQ313
DRAIN_S = 180.0  # until an alley is drained; common practice, no source


def hydraulic_radius(width: Amount, depth: Amount) -> Amount:
    """Compute the hydraulic radius of water between two curbs.

    Parameters
    ----------
    width, depth : float or ndarray
        Width of the lane and depth of the water, above 0, in the same unit of length.

    Returns
    -------
    float or ndarray
        Wetted area over wetted perimeter, in the unit given. [m]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    Valid: a flat floor between upright curbs.

    Checked:
    tests/equipment/flushing/test_hydraulics.py::test_velocity_equals_that_of_an_open_library,
    test_ten_foot_alley_flushed_three_inches_deep

    References
    ----------
    Fulhage and Pfost, "Basic Requirements for Flushing Dairies", WQ314, University of Missouri
    Extension, 1993: (W x D) / (W + 2 x D).
    """
    _require_positive(width=width, depth=depth)
    return width * depth / (width + 2 * depth)


def velocity_m_s(
    *, width_m: Amount, depth_m: Amount, slope_frac: Amount, n_manning: float = N_ALLEY
) -> Amount:
    """Compute the velocity of steady flow by Manning's equation in SI units.

    Parameters
    ----------
    width_m, depth_m : float or ndarray
        Width of the lane and depth of the water, above 0. [m]
    slope_frac : float or ndarray
        Fall over length of the floor, above 0. [m m⁻¹]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Returns
    -------
    float or ndarray
        Mean velocity over the cross section. [m s⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    V = R^(2/3) S^(1/2) / n.

    Valid: steady, turbulent flow. What a tank lets go is a wave that flattens in long alleys, so
    the result tells whether a flush can be adequate, not what it will be (`AlleyFlush.is_wave`).

    Checked: tests/equipment/flushing/test_hydraulics.py::test_velocity_of_published_channels,
    test_velocity_equals_that_of_an_open_library, test_ten_foot_alley_flushed_three_inches_deep

    References
    ----------
    WQ314 (see `hydraulic_radius`), in SI, by `fluids.open_flow.V_Manning`.
    """
    _require_positive(slope_frac=slope_frac, n_manning=n_manning)
    r_h_m = hydraulic_radius(width_m, depth_m)
    return _OPEN_FLOW.V_Manning(Rh=r_h_m, S=slope_frac, n=n_manning)  # type: ignore[no-any-return]


def chezy_velocity_m_s(
    *, width_m: Amount, depth_m: Amount, slope_frac: Amount, c_chezy: float
) -> Amount:
    """Compute the velocity of steady flow by Chezy's equation with one coefficient for all depths.

    Parameters
    ----------
    width_m, depth_m : float or ndarray
        Width of the lane and depth of the water, above 0. [m]
    slope_frac : float or ndarray
        Fall over length of the floor, above 0. [m m⁻¹]
    c_chezy : float
        Coefficient, above 0 (`chezy_coefficient`). [m¹ᐟ² s⁻¹]

    Returns
    -------
    float or ndarray
        Mean velocity over the cross section. [m s⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    V = C (R S)^(1/2). Shown for contrast: at the depth for which C was taken both equations agree,
    elsewhere they part, and how far says how much rests on the choice of equation.

    Valid: as `velocity_m_s`, near the depth for which C was taken.

    Checked: tests/equipment/flushing/test_hydraulics.py::test_chezy_form_gives_the_same_velocity,
    test_chezy_parts_from_manning_away_from_its_depth

    References
    ----------
    Chezy's equation, by `fluids.open_flow.V_Chezy`; Chow, Open-Channel Hydraulics, 1959, ch. 5.
    """
    _require_positive(slope_frac=slope_frac, c_chezy=c_chezy)
    r_h_m = hydraulic_radius(width_m, depth_m)
    return _OPEN_FLOW.V_Chezy(Rh=r_h_m, S=slope_frac, C=c_chezy)  # type: ignore[no-any-return]


def chezy_coefficient(r_h_m: Amount, n_manning: float = N_ALLEY) -> Amount:
    """Compute the coefficient of Chezy's equation that equals a Manning roughness.

    Parameters
    ----------
    r_h_m : float or ndarray
        Hydraulic radius, above 0. [m]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Returns
    -------
    float or ndarray
        R^(1/6) / n. [m¹ᐟ² s⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    Valid: at that radius alone.

    Checked: tests/equipment/flushing/test_hydraulics.py::test_chezy_form_gives_the_same_velocity

    References
    ----------
    `fluids.open_flow.n_Manning_to_C_Chezy`; Chow 1959, eq. 5-6.
    """
    _require_positive(r_h_m=r_h_m, n_manning=n_manning)
    return _OPEN_FLOW.n_Manning_to_C_Chezy(n=n_manning, Rh=r_h_m)  # type: ignore[no-any-return]


def normal_depth_m(
    *, flow_m3_s: Amount, width_m: Amount, slope_frac: Amount, n_manning: float = N_ALLEY
) -> Amount:
    """Compute how deep a steady flow runs.

    Parameters
    ----------
    flow_m3_s : float or ndarray
        Flow that the valve lets go, above 0. [m³ s⁻¹]
    width_m : float or ndarray
        Width of the lane, above 0. [m]
    slope_frac : float or ndarray
        Fall over length of the floor, above 0. [m m⁻¹]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Returns
    -------
    float or ndarray
        Depth at which width times depth times `velocity_m_s` is the flow. [m]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    Manning's equation put as D = (Q n / S^(1/2))^(3/5) (W + 2D)^(2/5) / W and repeated from
    below: each step leaves at most two fifths of the relative error, so it always ends.

    Valid: as `velocity_m_s`.

    Checked: tests/equipment/flushing/test_hydraulics.py::test_depth_of_published_flows,
    test_the_depth_found_carries_the_flow

    References
    ----------
    WQ314 (see `hydraulic_radius`), solved for the depth.
    """
    _require_positive(
        flow_m3_s=flow_m3_s, width_m=width_m, slope_frac=slope_frac, n_manning=n_manning
    )
    section = (flow_m3_s * n_manning / slope_frac**0.5) ** 0.6 / width_m
    last_m, depth_m = 0.0 * section, section * width_m**0.4
    while np.any(depth_m - last_m > 1e-12 * depth_m):
        last_m, depth_m = depth_m, section * (width_m + 2 * depth_m) ** 0.4
    return depth_m


@dataclass(frozen=True, slots=True)
class AlleyFlush:
    """One opening of a valve at the head of an alley: depth, velocity, volume and times.

    Parameters
    ----------
    length_m, width_m : float
        The alley, above 0. [m]
    slope_frac : float
        Fall over length of its floor, above 0. [m m⁻¹]
    flow_m3_s : float
        Flow that the valve lets go, above 0. [m³ s⁻¹]
    open_s : float
        How long the valve is open, above 0. [s]
    drain_s : float
        From the last water's arrival until the alley is drained, 0 or more. [s]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Valid: while the alley is full of moving water at once, that is, while the valve is open at
    least as long as the water travels (`is_wave` is false). A shorter release is a wave that
    flattens on its way: depth and velocity then hold at the head of the alley and are upper bounds
    below.

    Checked:
    tests/equipment/flushing/test_hydraulics.py::test_a_release_shorter_than_its_travel_is_a_wave,
    test_published_wave_takes_half_a_minute_and_2805_gallons

    References
    ----------
    WQ314 (see `hydraulic_radius`), which warns of the wave; the criterion is arithmetic.
    """

    length_m: float
    width_m: float
    slope_frac: float
    flow_m3_s: float
    open_s: float
    drain_s: float = DRAIN_S
    n_manning: float = N_ALLEY

    def __post_init__(self) -> None:
        _require_positive(
            length_m=self.length_m,
            width_m=self.width_m,
            slope_frac=self.slope_frac,
            flow_m3_s=self.flow_m3_s,
            open_s=self.open_s,
            n_manning=self.n_manning,
        )
        if not 0 <= self.drain_s < float("inf"):
            raise ValueError(f"drain_s must be 0 or more, got {self.drain_s}")

    @property
    def depth_m(self) -> float:
        """Depth of the flow once it is steady [m]."""
        depth_m = normal_depth_m(
            flow_m3_s=self.flow_m3_s,
            width_m=self.width_m,
            slope_frac=self.slope_frac,
            n_manning=self.n_manning,
        )
        return float(depth_m)

    @property
    def velocity_m_s(self) -> float:
        """Velocity of the flow once it is steady [m s⁻¹]."""
        return self.flow_m3_s / (self.width_m * self.depth_m)

    @property
    def volume_m3(self) -> float:
        """Water that one opening takes from the tank [m³]."""
        return self.flow_m3_s * self.open_s

    @property
    def travel_s(self) -> float:
        """Time of the water from the head of the alley to its end [s]."""
        return self.length_m / self.velocity_m_s

    @property
    def is_wave(self) -> bool:
        """Whether the valve closes before the water is through, which is beyond steady flow."""
        return self.open_s < self.travel_s

    @property
    def chezy_velocity_at_practice_m_s(self) -> float:
        """Velocity by Chezy's equation with the coefficient of the published depth [m s⁻¹]."""
        r_h_m = hydraulic_radius(self.width_m, PRACTICE_DEPTH_M)
        velocity = chezy_velocity_m_s(
            width_m=self.width_m,
            depth_m=self.depth_m,
            slope_frac=self.slope_frac,
            c_chezy=float(chezy_coefficient(r_h_m, self.n_manning)),
        )
        return float(velocity)

    @property
    def duration_s(self) -> float:
        """From the valve's opening until the alley is drained [s]."""
        return self.open_s + self.travel_s + self.drain_s


def _require_positive(**values: Amount) -> None:
    for name, value in values.items():
        if not np.all((np.asarray(value) > 0) & np.isfinite(value)):
            raise ValueError(f"{name} must be > 0, got {value}")
