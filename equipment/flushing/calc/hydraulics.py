"""How fast and how deep a flush runs down an alley: Manning's equation for a flat-floored lane."""

from dataclasses import dataclass
from enum import StrEnum

FT_M = 0.3048  # international foot, exact
IN_M = 0.0254  # international inch, exact
N_ALLEY = 0.02  # alley under a normal manure load: Missouri Extension WQ314
DRAIN_S = 180.0  # until an alley is drained; common practice, no source


def hydraulic_radius(width: float, depth: float) -> float:
    """Compute the hydraulic radius of water between two curbs.

    Parameters
    ----------
    width, depth : float
        Width of the lane and depth of the water, above 0, in the same unit of length.

    Returns
    -------
    float
        Wetted area over wetted perimeter, in the unit given.

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    Fulhage and Pfost, "Basic Requirements for Flushing Dairies", WQ314, University of Missouri
    Extension, 1993: (W x D) / (W + 2 x D).
    """
    _require_positive(width=width, depth=depth)
    return width * depth / (width + 2 * depth)


def velocity_m_s(
    *, width_m: float, depth_m: float, slope_frac: float, n_manning: float = N_ALLEY
) -> float:
    """Compute the velocity of steady flow by Manning's equation in SI units.

    Parameters
    ----------
    width_m, depth_m : float
        Width of the lane and depth of the water, above 0. [m]
    slope_frac : float
        Fall over length of the floor, above 0. [m m⁻¹]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Returns
    -------
    float
        Mean velocity over the cross section. [m s⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    V = R^(2/3) S^(1/2) / n, for steady flow. What a tank lets go is a wave that flattens in long
    alleys, so the result tells whether a flush can be adequate, not what it will be.

    References
    ----------
    WQ314 (see `hydraulic_radius`), in SI.
    """
    _require_positive(slope_frac=slope_frac, n_manning=n_manning)
    return float(hydraulic_radius(width_m, depth_m) ** (2 / 3) * slope_frac**0.5 / n_manning)


def velocity_ft_s(
    *, width_ft: float, depth_ft: float, slope_frac: float, n_manning: float = N_ALLEY
) -> float:
    """Compute the velocity of steady flow by Manning's equation in US units, as published.

    Parameters
    ----------
    width_ft, depth_ft : float
        Width of the lane and depth of the water, above 0. [ft]
    slope_frac : float
        Fall over length of the floor, above 0. [ft ft⁻¹]
    n_manning : float
        Roughness, the same number as in SI, above 0.

    Returns
    -------
    float
        Mean velocity over the cross section. [ft s⁻¹]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    The factor 1.49 is rounded in the publication; exactly it is (1 m in ft)^(1/3) = 1.486, so
    that this is 0.3 % more than `velocity_m_s`.

    References
    ----------
    WQ314 (see `hydraulic_radius`): V = (1.49 / n) R^(2/3) S^(1/2).
    """
    _require_positive(slope_frac=slope_frac, n_manning=n_manning)
    r_h_ft = hydraulic_radius(width_ft, depth_ft)
    return float(1.49 / n_manning * r_h_ft ** (2 / 3) * slope_frac**0.5)


def normal_depth_m(
    *, flow_m3_s: float, width_m: float, slope_frac: float, n_manning: float = N_ALLEY
) -> float:
    """Compute how deep a steady flow runs.

    Parameters
    ----------
    flow_m3_s : float
        Flow that the valve lets go, above 0. [m³ s⁻¹]
    width_m : float
        Width of the lane, above 0. [m]
    slope_frac : float
        Fall over length of the floor, above 0. [m m⁻¹]
    n_manning : float
        Roughness, above 0. [s m⁻¹ᐟ³]

    Returns
    -------
    float
        Depth at which width times depth times `velocity_m_s` is the flow. [m]

    Raises
    ------
    ValueError
        If a value is not above 0.

    Notes
    -----
    Manning's equation put as D = (Q n / S^(1/2))^(3/5) (W + 2D)^(2/5) / W and repeated from
    below: each step leaves at most two fifths of the relative error, so it always ends.
    """
    _require_positive(
        flow_m3_s=flow_m3_s, width_m=width_m, slope_frac=slope_frac, n_manning=n_manning
    )
    section = (flow_m3_s * n_manning / slope_frac**0.5) ** 0.6 / width_m
    last_m, depth_m = 0.0, float(section * width_m**0.4)
    while depth_m - last_m > 1e-12 * depth_m:
        last_m, depth_m = depth_m, float(section * (width_m + 2 * depth_m) ** 0.4)
    return depth_m


@dataclass(frozen=True, slots=True)
class AlleyFlush:
    """One opening of a valve at the head of an alley.

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
        return normal_depth_m(
            flow_m3_s=self.flow_m3_s,
            width_m=self.width_m,
            slope_frac=self.slope_frac,
            n_manning=self.n_manning,
        )

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
    def duration_s(self) -> float:
        """From the valve's opening until the alley is drained [s]."""
        return self.open_s + self.travel_s + self.drain_s


@dataclass(frozen=True, slots=True)
class FlushPractice:
    """What a flush should reach to clean an alley.

    Parameters
    ----------
    velocity_m_s : float
        Velocity. [m s⁻¹]
    depth_m : float
        Depth. [m]
    open_s : float
        Time for which both are kept up. [s]
    slack_frac : float
        How far velocity and depth may stay behind. The sources give round numbers: for the 3 in
        at 3 % that they name, their own equation yields 4.92 to 5.07 ft/s by width of alley. [-]

    References
    ----------
    Fulhage and Pfost, "Flush Gutters for Dairies", WQ313, University of Missouri Extension,
    1993: 5 feet per second, 3 inches deep, for 10 seconds or more.
    """

    velocity_m_s: float = 5 * FT_M
    depth_m: float = 3 * IN_M
    open_s: float = 10.0
    slack_frac: float = 0.02


class ShortfallCode(StrEnum):
    """In what a flush falls short."""

    VELOCITY_LOW = "velocity_low"
    DEPTH_LOW = "depth_low"
    OPEN_SHORT = "open_short"


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One way in which a flush falls short.

    Parameters
    ----------
    code : ShortfallCode
        Velocity [m s⁻¹], depth [m] or time open [s].
    value, limit : float
        What it is and what it should be, in the unit of the code.
    """

    code: ShortfallCode
    value: float
    limit: float


def find_shortfalls(
    flush: AlleyFlush, practice: FlushPractice | None = None
) -> tuple[Shortfall, ...]:
    """Compare a flush with practice.

    Parameters
    ----------
    flush : AlleyFlush
        The flush.
    practice : FlushPractice, optional
        What it should reach; the published practice if not given.

    Returns
    -------
    tuple of Shortfall
        Empty where the flush is adequate by the steady-flow equation. A flush watched in the
        alley outranks it.
    """
    practice = practice or FlushPractice()
    kept_frac = 1 - practice.slack_frac
    rows = (
        (ShortfallCode.VELOCITY_LOW, flush.velocity_m_s, practice.velocity_m_s, kept_frac),
        (ShortfallCode.DEPTH_LOW, flush.depth_m, practice.depth_m, kept_frac),
        (ShortfallCode.OPEN_SHORT, flush.open_s, practice.open_s, 1.0),
    )
    return tuple(
        Shortfall(code, value, limit) for code, value, limit, kept in rows if value < limit * kept
    )


def _require_positive(**values: float) -> None:
    for name, value in values.items():
        if not 0 < value < float("inf"):
            raise ValueError(f"{name} must be > 0, got {value}")
