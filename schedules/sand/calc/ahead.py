"""Sand ahead: a dated balance of ready sand, how long it lasts, what to buy and when."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from schedules.sand.calc.dates import BEYOND, DateDistribution
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.supply import Range

Days = NDArray[np.int64]

N_MONTHS = 12
EIGHT_OF_TEN = (0.1, 0.5, 0.9)
CHANCE_FRAC = 0.1  # of falling below the safety stock, that buying leaves: one in ten


@dataclass(frozen=True, slots=True)
class SupplyMembers:
    """What is not known, equally likely ways; each shape (n_members,).

    Parameters
    ----------
    use_z, recovery_z : ndarray
        How far use and recovery lie from the farm's figures, in standard deviations. [-]
    rank_frac : ndarray
        Where in its range each drying lies, 0 early to 1 late: one weather for all layers. [-]
    """

    use_z: Floats
    recovery_z: Floats
    rank_frac: Floats


def draw_supply(n_members: int, rng: np.random.Generator) -> SupplyMembers:
    """Draw members that cover each unknown evenly.

    Parameters
    ----------
    n_members : int
        How many, 1 or more.
    rng : numpy.random.Generator
        Shuffles the three against each other.

    Returns
    -------
    SupplyMembers
        Each unknown at the middles of n equal shares of its range. [-]

    Raises
    ------
    ValueError
        `n_members` below 1.

    Notes
    -----
    Valid: unknowns that do not depend on each other; normal spreads for use and recovery.
    Checked: tests/schedules/sand/test_ahead.py::test_members_cover_each_unknown_evenly

    References
    ----------
    McKay, Beckman, Conover, "A Comparison of Three Methods for Selecting Values of Input Variables
    in the Analysis of Output from a Computer Code", Technometrics 21(2), 1979, 239-245, at the
    middles of the shares (from memory).
    """
    if n_members < 1:
        raise ValueError(f"n_members {n_members} is below 1")
    middles = (np.arange(n_members) + 0.5) / n_members
    return SupplyMembers(
        ndtri(rng.permutation(middles)), ndtri(rng.permutation(middles)), rng.permutation(middles)
    )


def offsets_at(dates: DateDistribution, rank_frac: Floats) -> Days:
    """Give each member's day of a date that is not certain.

    Parameters
    ----------
    dates : DateDistribution
        The date.
    rank_frac : ndarray, shape (n_members,)
        Where in it each member lies, above 0 and below 1. [-]

    Returns
    -------
    ndarray of int, shape (n_members,)
        Days after its origin; `BEYOND` past its horizon, which comes last. [d]
    """
    last = np.iinfo(np.int64).max
    order = np.argsort(np.where(dates.offset_d == BEYOND, last, dates.offset_d), kind="stable")
    reached = np.cumsum(dates.weight[order])
    index = np.searchsorted(reached, rank_frac, side="left")
    return dates.offset_d[order[np.minimum(index, order.size - 1)]]


def use_by_day_kg(
    use_kg_d: float,
    season_frac: Sequence[float],
    start_on: date,
    n_days: int,
    *,
    use_sd_frac: float,
    use_z: Floats,
) -> Floats:
    """Reckon what beds take on each day.

    Parameters
    ----------
    use_kg_d : float
        On a day of the year's mean: stalls by what each loses, ≥ 0. [kg d⁻¹]
    season_frac : sequence of float
        Use of each month over the year's mean, January first; twelve, ≥ 0. [-]
    start_on : date
        The first day.
    n_days : int
        How many.
    use_sd_frac : float
        Standard deviation of the year's mean as a share of it, ≥ 0. [-]
    use_z : ndarray, shape (n_members,)
        Each member's place in it. [-]

    Returns
    -------
    ndarray, shape (n_members, n_days)
        Dry mass, never below 0. [kg]

    Raises
    ------
    ValueError
        Negative amounts, or other than twelve months; the argument is named.

    Notes
    -----
    use = mean × month's factor × (1 + sd · z).

    Valid: a farm whose stalls are all bedded alike.
    Checked: tests/schedules/sand/test_ahead.py::test_4000_stalls_at_50_lb_take_200_000_lb_a_day,
    test_the_month_decides_the_use_of_its_days

    References
    ----------
    Arithmetic. 50 lb of sand a stall and day as the mean of 20 to 80: N. Cook (University of
    Wisconsin), Hoard's Dairyman, article 35691.
    """
    if use_kg_d < 0 or use_sd_frac < 0:
        raise ValueError("use_kg_d and use_sd_frac cannot be negative")
    if len(season_frac) != N_MONTHS or min(season_frac) < 0:
        raise ValueError("season_frac must be twelve factors, none negative")
    months = [(start_on + timedelta(days=day)).month - 1 for day in range(n_days)]
    by_day = use_kg_d * np.asarray(season_frac, dtype=float)[months]
    return by_day * np.maximum(1 + use_sd_frac * use_z, 0.0)[:, None]


def arrivals_kg(dry_kg: Floats, ready_d: Days, n_days: int) -> Floats:
    """Lay batches onto the days on which they are ready.

    Parameters
    ----------
    dry_kg : ndarray, shape (n_batches,)
        What each will bring, the screening loss taken off, ≥ 0. [kg]
    ready_d : ndarray of int, shape (n_members, n_batches)
        The day of each, ≥ 0; `BEYOND` where it is not foreseen. [d]
    n_days : int
        How far the balance looks.

    Returns
    -------
    ndarray, shape (n_members, n_days)
        Dry mass that becomes ready; what comes later is in none of the days. [kg]

    Raises
    ------
    ValueError
        A negative mass, or a day before the first.
    """
    if np.any(dry_kg < 0):
        raise ValueError("dry_kg cannot be negative")
    if np.any(ready_d < BEYOND):
        raise ValueError(f"ready_d {ready_d.min()} lies before the first day")
    days = np.arange(n_days)
    laid: Floats = np.einsum("b,mbd->md", dry_kg, ready_d[:, :, None] == days)
    return laid


@dataclass(frozen=True, slots=True)
class SandAhead:
    """The dated balance of ready sand, member by member.

    Parameters
    ----------
    start_on : date
        Its first day, counted whole.
    opening_kg, safety_kg : float
        Released before it, and to be kept back; ≥ 0. [kg]
    arrive_kg, use_kg : ndarray, shape (n_members, n_days)
        What becomes ready, and what beds take, on each day. [kg]

    Raises
    ------
    ValueError
        Negative masses, or shapes that differ.

    Notes
    -----
    What beds take on a day on which none is left is owed, and taken from what comes next: the
    stock below nothing is that debt. So opening + arrivals − use = stock, every day.
    """

    start_on: date
    opening_kg: float
    safety_kg: float
    arrive_kg: Floats
    use_kg: Floats

    def __post_init__(self) -> None:
        if min(self.opening_kg, self.safety_kg) < 0:
            raise ValueError("opening_kg and safety_kg cannot be negative")
        if self.arrive_kg.shape != self.use_kg.shape or self.use_kg.size == 0:
            raise ValueError("arrive_kg and use_kg must be of one shape, a day or more")
        if np.any(self.arrive_kg < 0) or np.any(self.use_kg < 0):
            raise ValueError("arrive_kg and use_kg cannot be negative")

    @property
    def n_days(self) -> int:
        """How many days it looks ahead."""
        return int(self.use_kg.shape[1])

    @property
    def stock_kg(self) -> Floats:
        """Ready sand at each day's end, shape (n_members, n_days); below 0 it is owed."""
        return self.opening_kg + np.cumsum(self.arrive_kg - self.use_kg, axis=1)

    @property
    def bands_kg(self) -> Floats:
        """Tenth, middle and ninetieth of a hundred stocks, shape (3, n_days); owed sand is 0."""
        there_kg = np.maximum(self.stock_kg, 0.0)
        bands: Floats = np.quantile(there_kg, EIGHT_OF_TEN, axis=0, method="inverted_cdf")
        return bands

    @property
    def days_d(self) -> Floats:
        """Whole days until each member's stock is below the safety stock; endless if not seen."""
        is_below = self.stock_kg < self.safety_kg
        first = np.where(is_below.any(axis=1), is_below.argmax(axis=1), math.inf)
        return np.asarray(first, dtype=float)


def middle_eight(values: Floats) -> Range:
    """Give the tenth, the middle and the ninetieth of a hundred equally likely amounts.

    Parameters
    ----------
    values : ndarray
        One or more, none negative; may be infinite.

    Returns
    -------
    Range
        Each the first value with its share at or below it.

    Raises
    ------
    ValueError
        None given.
    """
    if values.size == 0:
        raise ValueError("values is empty")
    return Range(*np.quantile(values, EIGHT_OF_TEN, method="inverted_cdf").tolist())


@dataclass(frozen=True, slots=True)
class Purchase:
    """What to buy, and when.

    Parameters
    ----------
    truck_kg : float
        Dry mass of one delivery. [kg]
    n_trucks : ndarray of int, shape (n_days,)
        Deliveries that must be there on each day.
    lead_d : int
        Days from order to delivery. [d]
    below_frac : float
        Share of members that fall below the safety stock even so: those that buying leaves, and
        those that fall before an order of today is here. [-]
    below_unbought_frac : float
        The same if nothing is bought. [-]
    """

    truck_kg: float
    n_trucks: Days
    lead_d: int
    below_frac: float
    below_unbought_frac: float

    @property
    def first_d(self) -> int | None:
        """Day of the first delivery; None where nothing needs to be bought."""
        days = np.flatnonzero(self.n_trucks)
        return int(days[0]) if days.size else None

    @property
    def order_d(self) -> int | None:
        """Latest day to order the first delivery: 0 is today."""
        return None if self.first_d is None else self.first_d - self.lead_d


def plan_buying(ahead: SandAhead, *, truck_kg: float, lead_d: int) -> Purchase:
    """Find the latest and smallest deliveries that keep the stock safe in nine of ten members.

    Parameters
    ----------
    ahead : SandAhead
        The balance without any purchase.
    truck_kg : float
        Dry mass of one delivery, above 0; only whole ones come. [kg]
    lead_d : int
        Days from order to delivery, 0 or more. [d]

    Returns
    -------
    Purchase
        Deliveries day by day, and what chance they leave. [-]

    Raises
    ------
    ValueError
        `truck_kg` or `lead_d` out of range.

    Notes
    -----
    A member lacks what it has fallen below the safety stock so far. The tenth of the members that
    lack most by the last day is left out; on each day as many whole trucks have come as the worst
    of the others lacks. So never more than one in ten falls below. What is needed before an order
    of today is here comes on the first day on which it can.

    Valid: sand may be bedded on the day on which it is delivered and released.
    Checked: tests/schedules/sand/test_ahead.py::test_a_purchase_worked_by_hand,
    test_after_buying_at_most_one_in_ten_falls_below

    References
    ----------
    Definition: the smallest order at a chance of one in ten, found by sorting.
    """
    if not 0 < truck_kg < math.inf:
        raise ValueError(f"truck_kg {truck_kg} is not above 0")
    if lead_d < 0:
        raise ValueError(f"lead_d {lead_d} is negative")
    lack_kg = np.maximum.accumulate(np.maximum(ahead.safety_kg - ahead.stock_kg, 0.0), axis=1)
    n_members = lack_kg.shape[0]
    n_kept = n_members - math.floor(CHANCE_FRAC * n_members + 1e-9)
    kept = np.argsort(lack_kg[:, -1], kind="stable")[:n_kept]
    n_there = np.ceil(lack_kg[kept].max(axis=0) / truck_kg - 1e-9).astype(np.int64)
    n_there[:lead_d] = 0
    is_below = (lack_kg > n_there * truck_kg + 1e-6).any(axis=1)
    return Purchase(
        truck_kg=truck_kg,
        n_trucks=np.diff(n_there, prepend=0),
        lead_d=lead_d,
        below_frac=float(is_below.mean()),
        below_unbought_frac=float((lack_kg[:, -1] > 1e-6).mean()),
    )
