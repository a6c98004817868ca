"""Whether a flush is what practice asks for: one published minimum, two regimes in use."""

from dataclasses import dataclass
from enum import StrEnum

from .hydraulics import PRACTICE_DEPTH_M, AlleyFlush

FT_M = 0.3048  # international foot, exact
# Sand barns, by contact time: about 7.5 ft/s for less than 1 min, or about 3 ft/s for 10 min or
# more. NRCS Illinois study, lpelc.org/tag/dairy-waste-separation-facilities.
FAST_M_S, SLOW_M_S = 7.5 * FT_M, 3 * FT_M
FAST_BELOW_S, SLOW_FROM_S = 60.0, 600.0
ABOUT_FRAC = 0.05  # how far "about" may stay behind; common practice, no source


class Regime(StrEnum):
    """Which of the two ways in use a flush goes."""

    FAST = "fast"
    SLOW = "slow"
    NEITHER = "neither"


def regime_of(flush: AlleyFlush) -> Regime:
    """Say which of the two regimes of sand barns a flush follows.

    Parameters
    ----------
    flush : AlleyFlush
        The flush; its contact time is how long the valve is open.

    Returns
    -------
    Regime
        Fast for about 7.5 ft/s within a minute, slow for about 3 ft/s over ten minutes or more. [-]

    Notes
    -----
    Valid: as the flush itself. Neither says that an alley is not clean: most flushes lie between.

    Checked: tests/equipment/flushing/test_adequacy.py::test_two_regimes_of_sand_barns

    References
    ----------
    NRCS Illinois study of sand separation, as told at
    lpelc.org/tag/dairy-waste-separation-facilities.
    """
    speed_m_s = flush.velocity_m_s / (1 - ABOUT_FRAC)
    if speed_m_s >= FAST_M_S and flush.open_s < FAST_BELOW_S:
        return Regime.FAST
    if speed_m_s >= SLOW_M_S and flush.open_s >= SLOW_FROM_S:
        return Regime.SLOW
    return Regime.NEITHER


@dataclass(frozen=True, slots=True)
class FlushPractice:
    """Say what a flush should reach to clean an alley.

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

    Notes
    -----
    Valid: alleys for cows, 7 to 30 ft wide, by the source.

    Checked: tests/equipment/flushing/test_hydraulics.py::test_the_published_flush_is_adequate,
    test_a_thin_flush_falls_short_in_depth_and_velocity

    References
    ----------
    Fulhage and Pfost, "Flush Gutters for Dairies", WQ313, University of Missouri Extension,
    1993: 5 feet per second, 3 inches deep, for 10 seconds or more.
    """

    velocity_m_s: float = 5 * FT_M
    depth_m: float = PRACTICE_DEPTH_M
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
        Empty where the flush is adequate by the steady-flow equation. [-]

    Notes
    -----
    Valid: as the flush itself. A flush watched in the alley outranks it.

    Checked: tests/equipment/flushing/test_hydraulics.py::test_the_published_flush_is_adequate,
    test_a_valve_open_for_less_than_ten_seconds_falls_short

    References
    ----------
    WQ313 (see `FlushPractice`).
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
