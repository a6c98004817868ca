"""What the farm's own freezing rules say of a cold night."""

from dataclasses import dataclass
from enum import StrEnum
from math import isnan


class FrostRule(StrEnum):
    """What frost asks for."""

    NONE = "none"
    DRAIN_VALVES = "drain_valves"
    NO_FLUSH = "no_flush"


@dataclass(frozen=True, slots=True)
class FrostLimits:
    """The farm's limits of air temperature.

    Parameters
    ----------
    drain_below_degc : float
        Below it valves and pipes are drained after each run. [°C]
    no_flush_below_degc : float
        Below it nothing is flushed, at most `drain_below_degc`. [°C]

    Raises
    ------
    ValueError
        If the second lies above the first.
    """

    drain_below_degc: float
    no_flush_below_degc: float

    def __post_init__(self) -> None:
        if not self.no_flush_below_degc <= self.drain_below_degc:
            raise ValueError(
                f"no_flush_below_degc {self.no_flush_below_degc} is above "
                f"drain_below_degc {self.drain_below_degc}"
            )


def frost_rule(air_degc: float, limits: FrostLimits) -> FrostRule:
    """Say what the farm's rules ask for at an air temperature.

    Parameters
    ----------
    air_degc : float
        Lowest expected air temperature. [°C]
    limits : FrostLimits
        The farm's.

    Returns
    -------
    FrostRule
        The strictest that holds. [-]

    Raises
    ------
    ValueError
        If the temperature is not a number.

    Notes
    -----
    Valid: limits are the farm's own; wet concrete can freeze in air above 0 °C on clear nights.

    Checked: tests/equipment/flushing/test_frost.py::test_rules_hold_below_their_limits

    References
    ----------
    Common practice, no source.
    """
    if isnan(air_degc):
        raise ValueError("air_degc is not a number")
    if air_degc < limits.no_flush_below_degc:
        return FrostRule.NO_FLUSH
    return FrostRule.DRAIN_VALVES if air_degc < limits.drain_below_degc else FrostRule.NONE
