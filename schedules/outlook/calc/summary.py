"""What a manager asks of many possible years: chances by date, ranges, and what a change does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from schedules.outlook.calc.scenario import Scenario
from schedules.outlook.calc.simulate import (
    BASIN_AT_LINE,
    BASIN_OVER,
    BELOW_SAFETY,
    BOUGHT_KG,
    CLEANED_M3,
    LACKED_KG,
    LANE_FULL,
    LOADER_H,
    NO_SAND,
    PADS_FULL,
    PEOPLE_H,
    PILES_FULL,
    YearRun,
)
from schedules.outlook.calc.state import Floats

Z_95 = 1.959963984540054  # of the normal distribution, 97.5 %
KG_T = 1000.0


class Event(StrEnum):
    """What may go wrong on a day."""

    NO_SAND = "no_sand"
    BELOW_SAFETY = "below_safety"
    PADS_FULL = "pads_full"
    LANE_FULL = "lane_full"
    PILES_FULL = "piles_full"
    BASIN_AT_LINE = "basin_at_line"
    BASIN_OVER = "basin_over"


BIT = {
    Event.NO_SAND: NO_SAND,
    Event.BELOW_SAFETY: BELOW_SAFETY,
    Event.PADS_FULL: PADS_FULL,
    Event.LANE_FULL: LANE_FULL,
    Event.PILES_FULL: PILES_FULL,
    Event.BASIN_AT_LINE: BASIN_AT_LINE,
    Event.BASIN_OVER: BASIN_OVER,
}


class Season(StrEnum):
    """Quarters of the year as the weather has them."""

    WINTER = "winter"
    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"


class Outcome(StrEnum):
    """What is told of a member's year in one number."""

    NO_SAND = "no_sand"  # whether, 0 or 1
    BELOW_SAFETY = "below_safety"
    PADS_FULL = "pads_full"
    BASIN_OVER = "basin_over"
    PEOPLE_SHORT = "people_short"
    LOADERS_SHORT = "loaders_short"
    NO_SAND_D = "no_sand_d"  # days of the year
    PADS_FULL_D = "pads_full_d"
    MISSING_T = "missing_t"  # bought, or lacking in the beds
    CLEANED_M3 = "cleaned_m3"


@dataclass(frozen=True, slots=True)
class Chance:
    """A share of members, and how sure it is.

    Parameters
    ----------
    frac, se_frac : float
        Share, and its standard error. [-]
    low_frac, high_frac : float
        95 % interval, which says something of 0 and 1 too. [-]
    """

    frac: float
    se_frac: float
    low_frac: float
    high_frac: float


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean over members with its standard error, in the unit of what was counted."""

    mean: float
    se: float


def chance(has_happened: NDArray[np.bool_]) -> Chance:
    """Give the share of members of which something is true.

    Parameters
    ----------
    has_happened : ndarray of bool, shape (n_members,)
        One a member, at least one.

    Returns
    -------
    Chance
        With standard error √(p (1 − p) / n) and Wilson's interval. [-]

    Raises
    ------
    ValueError
        No member.

    Notes
    -----
    Valid: members drawn independently. It tells how well the members show the model's own chance,
    not how right the model is.
    Checked: tests/schedules/outlook/test_summary.py::test_interval_is_wilsons

    References
    ----------
    Wilson, "Probable Inference, the Law of Succession, and Statistical Inference", J. Am. Stat.
    Assoc. 22, 1927.
    """
    n = has_happened.size
    if n == 0:
        raise ValueError("has_happened must have one member at least")
    p = float(has_happened.mean())
    middle = (p + Z_95**2 / (2 * n)) / (1 + Z_95**2 / n)
    half = Z_95 / (1 + Z_95**2 / n) * np.sqrt(p * (1 - p) / n + Z_95**2 / (4 * n**2))
    low, high = max(middle - half, 0.0), min(middle + half, 1.0)
    return Chance(p, float(np.sqrt(p * (1 - p) / n)), float(low), float(high))


def mean(values: Floats) -> Mean:
    """Give a mean over members.

    Parameters
    ----------
    values : ndarray, shape (n_members,)
        At least two; of a what-if, the differences member by member.

    Returns
    -------
    Mean
        With standard error s / √n, in the unit of `values`. [-]

    Raises
    ------
    ValueError
        Fewer than two members.

    Notes
    -----
    On common random numbers the difference of two scenarios is taken member by member, so that
    what both share cancels.

    Valid: members drawn independently.
    Checked: tests/schedules/outlook/test_summary.py::test_a_paired_difference_is_the_paired_t_tests

    References
    ----------
    Law, "Simulation Modeling and Analysis", ch. 10 and 11 (paired comparison, common random
    numbers), from memory.
    """
    if values.size < 2:
        raise ValueError("values must have two members at least")
    return Mean(float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size)))


def chance_by(run: YearRun, event: Event, days: list[int]) -> list[Chance]:
    """Give the chance that an event has come by each of some days' evenings.

    Parameters
    ----------
    run : YearRun
        Of all members.
    event : Event
        Which.
    days : list of int
        Counted from 0.

    Returns
    -------
    list of Chance
        Never falling. [-]

    Notes
    -----
    Valid: days of the run.
    Checked: tests/schedules/outlook/test_summary.py::test_chances_by_date_never_fall

    References
    ----------
    Arithmetic.
    """
    has = np.maximum.accumulate((run.flag & BIT[event]) > 0, axis=1)
    return [chance(has[:, day]) for day in days]


def month_ends(start_on: date, n_days: int) -> list[int]:
    """List the last day of each month within the days, and the very last."""
    ends = [
        k
        for k in range(n_days)
        if (start_on + timedelta(days=k + 1)).month != (start_on + timedelta(days=k)).month
    ]
    return ends if ends and ends[-1] == n_days - 1 else [*ends, n_days - 1]


def season_of(on: date) -> Season:
    """Name the season of a day; winter is December to February."""
    return list(Season)[on.month % 12 // 3]


def short_seasons(run: YearRun, scenario: Scenario) -> dict[Season, tuple[Floats, Floats]]:
    """Give by season and member the hours needed over the hours there, of people and loaders.

    Parameters
    ----------
    run : YearRun
        Of a year.
    scenario : Scenario
        Says what hours there are.

    Returns
    -------
    dict
        Need over hours there of each member; above 1 is short, 0 where nobody said what is
        there. [-]

    Notes
    -----
    Valid: sums of a season: a short day may hide in it.
    Checked: tests/schedules/outlook/test_summary.py::
    test_a_season_is_short_where_need_is_above_hours

    References
    ----------
    Arithmetic.
    """
    n_days = run.path.shape[1]
    seasons = [season_of(scenario.start_on + timedelta(days=k)) for k in range(n_days)]
    found = {}
    for season in dict.fromkeys(seasons):
        is_in = np.array([s is season for s in seasons])
        need = run.path[:, is_in][:, :, [PEOPLE_H, LOADER_H]].sum(axis=1, dtype=np.float64)
        there_h_d = (scenario.hours.people_there_h_d, scenario.hours.loader_there_h_d)
        people, loaders = (
            need[:, k] / (h_d * is_in.sum()) if h_d > 0 else np.zeros(need.shape[0])
            for k, h_d in enumerate(there_h_d)
        )
        found[season] = (people, loaders)
    return found


def outcomes(run: YearRun, scenario: Scenario) -> dict[Outcome, Floats]:
    """Give each member's year in single numbers.

    Parameters
    ----------
    run : YearRun
        Of a year.
    scenario : Scenario
        It was reckoned from.

    Returns
    -------
    dict
        One array of shape (n_members,) each: 0 or 1 [-], days [d], tonnes [t], volume [m³].

    Notes
    -----
    Valid: any run.
    Checked: tests/schedules/outlook/test_summary.py::test_outcomes_count_what_the_flags_say

    References
    ----------
    Arithmetic.
    """
    days = {event: ((run.flag & bit) > 0).sum(axis=1).astype(float) for event, bit in BIT.items()}
    shares = list(short_seasons(run, scenario).values())
    people = np.max([people for people, _loaders in shares], axis=0)
    loaders = np.max([loaders for _people, loaders in shares], axis=0)
    return {
        Outcome.NO_SAND: (days[Event.NO_SAND] > 0).astype(float),
        Outcome.BELOW_SAFETY: (days[Event.BELOW_SAFETY] > 0).astype(float),
        Outcome.PADS_FULL: (days[Event.PADS_FULL] > 0).astype(float),
        Outcome.BASIN_OVER: (days[Event.BASIN_OVER] > 0).astype(float),
        Outcome.PEOPLE_SHORT: (people > 1).astype(float),
        Outcome.LOADERS_SHORT: (loaders > 1).astype(float),
        Outcome.NO_SAND_D: days[Event.NO_SAND],
        Outcome.PADS_FULL_D: days[Event.PADS_FULL],
        Outcome.MISSING_T: (run.total[:, BOUGHT_KG] + run.total[:, LACKED_KG]) / KG_T,
        Outcome.CLEANED_M3: run.total[:, CLEANED_M3],
    }


def bands(values: NDArray[np.float32]) -> NDArray[np.float64]:
    """Give the 10, 50 and 90 % path over members; values of shape (n_members, n_days)."""
    quantiles: Floats = np.quantile(values, (0.1, 0.5, 0.9), axis=0)
    return quantiles
