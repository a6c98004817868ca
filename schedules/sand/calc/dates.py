"""A date that is not certain: its quantiles, and what follows from it."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from schedules.sand.calc.layer import Floats

BEYOND = -1  # in place of an offset: later than was looked ahead


@dataclass(frozen=True, slots=True)
class DateDistribution:
    """Dates with weights.

    Parameters
    ----------
    origin_on : date
        Offset 0.
    offset_d : ndarray of int, shape (n,)
        Days after it, ≥ 0; `BEYOND` where the date lies past the horizon.
    weight : ndarray, shape (n,)
        ≥ 0, sum 1.

    Raises
    ------
    ValueError
        Empty, lengths differ, an offset below `BEYOND`, or weights that are none.
    """

    origin_on: date
    offset_d: NDArray[np.int64]
    weight: Floats

    def __post_init__(self) -> None:
        if self.offset_d.size == 0 or self.offset_d.shape != self.weight.shape:
            raise ValueError("offset_d and weight must be of one length, 1 or more")
        if np.any(self.offset_d < BEYOND):
            raise ValueError(f"offset_d {self.offset_d.min()} lies before the origin")
        if not (np.all(self.weight >= 0) and abs(self.weight.sum() - 1) < 1e-9):
            raise ValueError("weight must be 0 or more and sum to 1")

    def quantile(self, q: float) -> date | None:
        """Find the first date by which a share of the weight has come.

        Parameters
        ----------
        q : float
            Share, above 0 and up to 1.

        Returns
        -------
        date or None
            None where it lies past the horizon.

        Raises
        ------
        ValueError
            `q` out of range.
        """
        if not 0 < q <= 1:
            raise ValueError(f"q {q} is not above 0 and up to 1")
        order = np.argsort(np.where(self.offset_d == BEYOND, np.iinfo(np.int64).max, self.offset_d))
        reached = np.cumsum(self.weight[order]) >= q - 1e-12
        index = order[np.argmax(reached)] if reached.any() else order[-1]
        offset_d = int(self.offset_d[index])
        return None if offset_d == BEYOND else self.origin_on + timedelta(days=offset_d)

    def dots(self, n: int = 20) -> tuple[date | None, ...]:
        """Set out the distribution as equally likely dates, to be drawn as dots or counted.

        Parameters
        ----------
        n : int
            How many, 1 or more.

        Returns
        -------
        tuple of date or None
            In order: the quantiles at the middles of n equal shares.
        """
        return tuple(self.quantile((index + 0.5) / n) for index in range(n))


@dataclass(frozen=True, slots=True)
class PileRule:
    """When piles close, and how long sand cures.

    Parameters
    ----------
    close_after_d : int
        Days from a pile's opening to its closing, ≥ 0. [d]
    cure_d : int
        Days from its closing until it may be released, ≥ 0. [d]
    pick_up_after_d : int
        Days from dry to picked up, ≥ 0. [d]

    Raises
    ------
    ValueError
        A negative number of days.
    """

    close_after_d: int
    cure_d: int
    pick_up_after_d: int = 1

    def __post_init__(self) -> None:
        if min(self.close_after_d, self.cure_d, self.pick_up_after_d) < 0:
            raise ValueError("days of a pile rule cannot be negative")


def ready_dates(
    dry: DateDistribution, rule: PileRule, *, opened_on: date | None = None
) -> DateDistribution:
    """Follow a dry date through pick-up, pile and cure to the first day of release.

    Parameters
    ----------
    dry : DateDistribution
        When the layer is dry.
    rule : PileRule
        The farm's practice.
    opened_on : date, optional
        Day the pile now open was begun; without it a pile is begun with this sand.

    Returns
    -------
    DateDistribution
        Of the same origin and weights; what is dry past the horizon is ready past it. [d]

    Notes
    -----
    A pile closes `close_after_d` days after it was begun. Sand picked up by then goes onto it, and
    is ready with it; later sand begins a pile of its own. Ready is closed + cure: a person decides
    about release after that.

    Valid: one pile open at a time.
    Checked: tests/schedules/sand/test_dates.py::test_ready_follows_pick_up_close_and_cure

    References
    ----------
    Common practice, no source: closing and cure are the farm's settings.
    """
    picked_up_d = dry.offset_d + rule.pick_up_after_d
    closes_d = picked_up_d + rule.close_after_d
    if opened_on is not None:
        open_closes_d = (opened_on - dry.origin_on).days + rule.close_after_d
        closes_d = np.where(picked_up_d <= open_closes_d, open_closes_d, closes_d)
    ready_d = np.where(dry.offset_d == BEYOND, BEYOND, closes_d + rule.cure_d)
    return DateDistribution(dry.origin_on, ready_d, dry.weight)
