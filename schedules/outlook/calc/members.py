"""What sets one possible year apart: its weather, and what is not known of the farm."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from equipment.weather.calc.members import ClimateHistory
from equipment.weather.calc.subdaily import draw_storms
from equipment.weather.calc.years import year_members

Floats = NDArray[np.float64]
Hours = NDArray[np.int8]

YEAR_D = 365


@dataclass(frozen=True, slots=True)
class YearMembers:
    """Equally likely years; weather has shape (n_members, n_days), all else (n_members,).

    Parameters
    ----------
    et0_mm, rain_mm : ndarray
        Daily sums. [mm]
    begin_h, length_h : ndarray of int8
        First hour of each day's rain, and for how many it falls. [h]
    use_z, recovery_z, capacity_z, rate_z, solids_z : ndarray
        How far use, recovery, field capacity, evaporation and the basins' solids lie from the
        farm's figures, in standard deviations; the scenario says how large those are, so that
        scenarios compare member by member. [-]
    """

    et0_mm: Floats
    rain_mm: Floats
    begin_h: Hours
    length_h: Hours
    use_z: Floats
    recovery_z: Floats
    capacity_z: Floats
    rate_z: Floats
    solids_z: Floats


def draw_years(
    history: ClimateHistory,
    start_on: date,
    *,
    seed: int,
    first: int,
    n_members: int,
    n_days: int = YEAR_D,
) -> YearMembers:
    """Draw some of the members of a seed.

    Parameters
    ----------
    history : ClimateHistory
        Past weather; a year of it at least.
    start_on : date
        First day.
    seed : int
        0 or more.
    first, n_members : int
        Which: from number `first` on, so many.
    n_days : int
        How long each is. [d]

    Returns
    -------
    YearMembers
        Member k is the same whatever else is drawn with it. [mm], [-]

    Raises
    ------
    ValueError
        As `year_members`.

    Notes
    -----
    Each member draws from children of its own of the seed, one for weather, storms and farm, so
    that none of them moves another.

    Valid: as `year_members` for the weather; normal spreads for the farm.
    Checked: tests/schedules/outlook/test_members.py::
    test_a_member_is_the_same_whatever_is_drawn_with_it,
    test_spreads_are_standard_normal

    References
    ----------
    Generators of spawned keys: Salmon et al., "Parallel Random Numbers: As Easy as 1, 2, 3", SC11,
    2011, from memory, by numpy's SeedSequence.
    """
    rngs = [
        [_generator(seed, member, part) for part in range(3)]
        for member in range(first, first + n_members)
    ]
    weather = year_members(history, start_on, n_days, [rng[0] for rng in rngs])
    storms = [draw_storms((n_days,), rng[1]) for rng in rngs]
    z = np.array([rng[2].standard_normal(5) for rng in rngs])
    return YearMembers(
        weather.et0_mm,
        weather.rain_mm,
        np.array([storm.begin_h for storm in storms]),
        np.array([storm.length_h for storm in storms]),
        *z.T,
    )


def _generator(seed: int, member: int, part: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(member, part)))
