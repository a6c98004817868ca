"""A forecast ensemble from past years: each member is the same season of a year that was."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.days import Days, Floats

SHIFT_MAX_D = 7  # neighbouring weeks count as the same season; common practice, no source


class BadSeriesError(ValueError):
    """Days that cannot be a record of weather: none, out of order, or of less than nothing."""


class NoPastWindowError(ValueError):
    """Not one past year has all of the days asked for."""


@dataclass(frozen=True, slots=True)
class ClimateHistory:
    """Past days at one place; arrays of shape (n_days,).

    Parameters
    ----------
    day : ndarray of datetime64[D]
        Local dates, strictly increasing; gaps are allowed.
    et0_mm, rain_mm : ndarray
        Daily sums; NaN where not known. [mm]

    Raises
    ------
    BadSeriesError
        No day, lengths differ, days do not increase, or a negative amount.
    """

    day: Days
    et0_mm: Floats
    rain_mm: Floats

    def __post_init__(self) -> None:
        if self.day.size == 0:
            raise BadSeriesError("a history needs a day at least")
        if not self.day.shape == self.et0_mm.shape == self.rain_mm.shape:
            raise BadSeriesError("day, et0_mm and rain_mm differ in shape")
        if np.any(np.diff(self.day) <= np.timedelta64(0, "D")):
            raise BadSeriesError("day must increase strictly")
        if np.any(self.et0_mm < 0) or np.any(self.rain_mm < 0):
            raise BadSeriesError("et0_mm and rain_mm cannot be negative")

    def before(self, on: date) -> "ClimateHistory | None":
        """Keep the days before a date, so that a forecast never sees what it forecasts.

        Parameters
        ----------
        on : date
            First day left out.

        Returns
        -------
        ClimateHistory or None
            The earlier part, None where there is none.
        """
        keep = self.day < np.datetime64(on, "D")
        if not keep.any():
            return None
        return ClimateHistory(self.day[keep], self.et0_mm[keep], self.rain_mm[keep])


@dataclass(frozen=True, slots=True)
class WeatherMembers:
    """Equally likely runs of the days ahead.

    Parameters
    ----------
    start_on : date
        The day of column 0.
    et0_mm, rain_mm : ndarray, shape (n_members, horizon_d)
        Daily sums. [mm]
    source_day : ndarray of datetime64[D], shape (n_members,)
        The past day that stands in column 0 of each member.
    """

    start_on: date
    et0_mm: Floats
    rain_mm: Floats
    source_day: Days

    @property
    def n_members(self) -> int:
        """How many runs there are."""
        return int(self.et0_mm.shape[0])

    @property
    def horizon_d(self) -> int:
        """How many days each run has."""
        return int(self.et0_mm.shape[1])


def resample_years(
    history: ClimateHistory,
    start_on: date,
    horizon_d: int,
    rng: np.random.Generator,
    *,
    n_members: int | None = None,
    shift_max_d: int = SHIFT_MAX_D,
) -> WeatherMembers:
    """Draw members from the same season of past years.

    Parameters
    ----------
    history : ClimateHistory
        Only windows that end before `start_on` and miss no value are used.
    start_on : date
        First day to forecast.
    horizon_d : int
        Days to forecast, 1 or more.
    rng : numpy.random.Generator
        Chooses the order of the years and the shift of each window.
    n_members : int, optional
        How many; without it, one per usable year. With more members than years, each year gives
        windows shifted differently, every year as often as every other (± 1).
    shift_max_d : int
        A window may begin so many days before or after the calendar day. [d]

    Returns
    -------
    WeatherMembers
        `n_members` runs, no two of the same window.

    Raises
    ------
    ValueError
        No complete past window, or fewer different windows than members asked for.

    Notes
    -----
    Resampling keeps the run of days within a season and the link between rain and ET0, and adds no
    distribution of our own. It knows no weather of this week: the spread is the climate's.
    29 February looks to 28 February in other years.
    """
    if horizon_d < 1 or shift_max_d < 0:
        raise ValueError("horizon_d must be 1 or more and shift_max_d 0 or more")
    past = history.before(start_on)
    by_year = windows_by_year(past, start_on, horizon_d, shift_max_d) if past else []
    if past is None or not by_year:
        raise NoPastWindowError(f"no complete window of {horizon_d} days before {start_on}")
    chosen = _deal(by_year, len(by_year) if n_members is None else n_members, rng)
    grid_day, et0_mm, rain_mm = on_every_day(past)
    columns = (chosen - grid_day).astype(np.int64)[:, None] + np.arange(horizon_d)
    return WeatherMembers(start_on, et0_mm[columns], rain_mm[columns], chosen)


def windows_by_year(
    past: ClimateHistory, start_on: date, horizon_d: int, shift_max_d: int
) -> list[Days]:
    """List for each past year the first days of its complete windows; years without one drop."""
    first_day, et0_mm, rain_mm = on_every_day(past)
    is_missing = np.isnan(et0_mm) | np.isnan(rain_mm)
    n_missing_before = np.concatenate([[0], np.cumsum(is_missing)])
    by_year = []
    for year in range(past.day[0].item().year - 1, start_on.year + 1):
        starts = _anniversary(start_on, year) + np.arange(-shift_max_d, shift_max_d + 1)
        index = (starts - first_day).astype(np.int64)
        is_inside = (index >= 0) & (index + horizon_d <= is_missing.size)
        index = index[is_inside]
        n_missing = n_missing_before[index + horizon_d] - n_missing_before[index]
        complete = starts[is_inside][n_missing == 0]
        if complete.size:
            by_year.append(complete)
    return by_year


def _anniversary(on: date, year: int) -> np.datetime64:
    leap_day = (on.month, on.day) == (2, 29)
    return np.datetime64(date(year, 2, 28) if leap_day else on.replace(year=year), "D")


def on_every_day(past: ClimateHistory) -> tuple[np.datetime64, Floats, Floats]:
    """Lay the history on an unbroken row of days, NaN in the gaps."""
    first_day = past.day[0]
    index: NDArray[np.int64] = (past.day - first_day).astype(np.int64)
    et0_mm, rain_mm = np.full(index[-1] + 1, np.nan), np.full(index[-1] + 1, np.nan)
    et0_mm[index], rain_mm[index] = past.et0_mm, past.rain_mm
    return first_day, et0_mm, rain_mm


def _deal(by_year: list[Days], n_members: int, rng: np.random.Generator) -> Days:
    """Take windows year by year, round after round, each year's in an order of its own."""
    n_windows = sum(starts.size for starts in by_year)
    if not 1 <= n_members <= n_windows:
        raise ValueError(f"{n_members} members asked for, 1 to {n_windows} windows can give them")
    shuffled = [rng.permutation(starts) for starts in by_year]
    order = rng.permutation(len(shuffled))
    rounds = range(max(starts.size for starts in shuffled))
    dealt = [
        shuffled[year][turn] for turn in rounds for year in order if turn < shuffled[year].size
    ]
    return np.array(dealt[:n_members], dtype="datetime64[D]")
