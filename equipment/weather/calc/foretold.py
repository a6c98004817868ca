"""Members that follow a forecast of the coming days, and past years where it ends."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from equipment.weather.calc.days import Floats
from equipment.weather.calc.members import WeatherMembers


@dataclass(frozen=True, slots=True)
class Foretold:
    """A forecast of the first days ahead; arrays of shape (n_days,), NaN where a day has none.

    Parameters
    ----------
    rain_chance_frac : ndarray
        Chance that it rains at all, 0 to 1.
    rain_mm : ndarray
        Mean of the day's rain if it rains, ≥ 0. [mm]
    et0_mm : ndarray
        Expected ET0, ≥ 0. [mm]
    et0_sd_mm : ndarray
        Its usual error, ≥ 0. [mm]

    Raises
    ------
    ValueError
        Shapes differ, an amount is negative, a chance is not within 0 to 1, or a day is told in
        part.
    """

    rain_chance_frac: Floats
    rain_mm: Floats
    et0_mm: Floats
    et0_sd_mm: Floats

    def __post_init__(self) -> None:
        columns = (self.rain_chance_frac, self.rain_mm, self.et0_mm, self.et0_sd_mm)
        if len({column.shape for column in columns}) != 1 or self.et0_mm.ndim != 1:
            raise ValueError("rain_chance_frac, rain_mm, et0_mm and et0_sd_mm differ in shape")
        for name in ("rain_mm", "et0_mm", "et0_sd_mm"):
            if np.any(getattr(self, name) < 0):
                raise ValueError(f"{name} is below 0")
        if np.any((self.rain_chance_frac < 0) | (self.rain_chance_frac > 1)):
            raise ValueError("rain_chance_frac is not within 0 to 1")
        n_told = np.sum([~np.isnan(column) for column in columns], axis=0)
        if np.any((n_told != 0) & (n_told != len(columns))):
            raise ValueError("a day is told in part: rain_chance_frac, rain_mm, et0_mm, et0_sd_mm")

    @property
    def is_told(self) -> NDArray[np.bool_]:
        """Which days have a forecast; shape (n_days,)."""
        return ~np.isnan(self.et0_mm)


def follow_forecast(
    members: WeatherMembers, foretold: Foretold, rng: np.random.Generator
) -> WeatherMembers:
    """Put the forecast's amounts into members of past years, each where its rank belongs.

    Parameters
    ----------
    members : WeatherMembers
        Windows of past years.
    foretold : Foretold
        Column 0 is the day of the members' column 0; days beyond the horizon are not used.
    rng : numpy.random.Generator
        Parts ties between members (dry days).

    Returns
    -------
    WeatherMembers
        As many; on a foretold day the amounts are evenly spread quantiles of the forecast, dealt
        to the members in the order in which their past days had them. Other days stay. [mm]

    Notes
    -----
    The Schaake shuffle: each day has exactly the forecast's distribution, while runs of wet days
    and the link of rain with ET0 stay those of past weather. Weighting past windows by likeness was
    not taken: of 15 windows a year hardly one fits several days at once, and a few members would
    carry all the weight. The amounts: dry with one less the chance of rain, else exponential with
    the mean given; ET0 normal, no less than 0.

    Valid: 2 members or more; of one the median is taken. Forecasts as sharp as their source says:
    the scores of past ones tell whether they are.

    Checked: tests/equipment/weather/test_foretold.py::
    test_ranks_are_dealt_as_in_the_published_example,
    test_each_day_has_the_distribution_of_its_forecast

    References
    ----------
    Clark, Gangopadhyay, Hay, Rajagopalan and Wilby, "The Schaake shuffle: a method for
    reconstructing space-time variability in forecasted precipitation and temperature fields",
    J. Hydrometeorology 5, 2004 (from memory); wet-day amounts as exponential: Richardson,
    "Stochastic simulation of daily precipitation, temperature, and solar radiation", Water
    Resources Research 17, 1981.
    """
    n_days = min(foretold.et0_mm.size, members.horizon_d)
    is_told = foretold.is_told[:n_days]
    share = (np.arange(members.n_members) + 0.5)[:, None] / members.n_members
    rain_mm, et0_mm = members.rain_mm.copy(), members.et0_mm.copy()
    columns = np.flatnonzero(is_told)
    for amounts_mm, quantiles_mm in (
        (rain_mm, _rain_quantiles_mm(foretold, columns, share)),
        (et0_mm, _et0_quantiles_mm(foretold, columns, share)),
    ):
        rank = shuffled_rank(amounts_mm[:, columns], rng)
        amounts_mm[:, columns] = np.take_along_axis(quantiles_mm, rank, axis=0)
    return WeatherMembers(members.start_on, et0_mm, rain_mm, members.source_day)


def shuffled_rank(values: Floats, rng: np.random.Generator) -> NDArray[np.int64]:
    """Rank each column's values from 0; equal ones in random order."""
    order = np.lexsort((rng.random(values.shape), values), axis=0)
    return np.argsort(order, axis=0)


def _rain_quantiles_mm(foretold: Foretold, columns: NDArray[np.int64], share: Floats) -> Floats:
    chance_frac = foretold.rain_chance_frac[columns]
    beyond = share - (1 - chance_frac)  # how far into the wet part
    # a chance too small to divide by is none: even the highest rank lies in its dry part
    is_wet = beyond > 0
    wet = np.where(is_wet, beyond, 0.0) / np.where(is_wet, chance_frac, 1.0)
    return np.asarray(-foretold.rain_mm[columns] * np.log1p(-wet), dtype=float)


def _et0_quantiles_mm(foretold: Foretold, columns: NDArray[np.int64], share: Floats) -> Floats:
    spread_mm = foretold.et0_sd_mm[columns] * ndtri(share)
    return np.asarray(np.maximum(foretold.et0_mm[columns] + spread_mm, 0.0), dtype=float)
