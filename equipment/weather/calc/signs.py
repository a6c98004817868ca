"""What a foretold day is warned of: heat, frost, rain."""

from enum import StrEnum

FROST_DEGC = 0.0  # water freezes
MEASURABLE_RAIN_MM = 0.254  # 0.01 inch: the least that US weather offices count as a day with rain
LIKELY_FRAC = 0.5  # more likely than not


class WeatherSign(StrEnum):
    """One warning of a day."""

    HEAT_PEOPLE = "heat_people"
    HEAT_COWS = "heat_cows"
    FROST = "frost"
    RAIN = "rain"


def signs_of(
    *,
    tmin_degc: float,
    rain_chance_frac: float,
    rain_mm: float,
    is_hot_for_people: bool,
    is_hot_for_cows: bool,
) -> tuple[WeatherSign, ...]:
    """Say what a day is to be warned of.

    Parameters
    ----------
    tmin_degc : float
        Its lowest temperature. [°C]
    rain_chance_frac : float
        Chance of rain, 0 to 1. [-]
    rain_mm : float
        Mean of the day if it rains, ≥ 0. [mm]
    is_hot_for_people, is_hot_for_cows : bool
        Whether work rests are asked for, and whether cows in milk feel it.

    Returns
    -------
    tuple of WeatherSign
        In the order of the enum; empty where there is nothing.

    Notes
    -----
    Frost at or below the freezing point of water; rain where it is at least as likely as not, and
    can be measured (0.01 inch: glossary of the US National Weather Service, from memory).
    """
    is_there = {
        WeatherSign.HEAT_PEOPLE: is_hot_for_people,
        WeatherSign.HEAT_COWS: is_hot_for_cows,
        WeatherSign.FROST: tmin_degc <= FROST_DEGC,
        WeatherSign.RAIN: rain_chance_frac >= LIKELY_FRAC and rain_mm >= MEASURABLE_RAIN_MM,
    }
    return tuple(sign for sign in WeatherSign if is_there[sign])
