"""What recorded milkings say of the parlor's pace: a robust line through pens and minutes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import theilslopes

FEWEST = 6  # pens; fewer give no spread worth showing. Common practice, no source.
S_PER_MIN = 60.0


@dataclass(frozen=True, slots=True)
class PaceFit:
    """The pace of recorded milkings.

    Parameters
    ----------
    n : int
        Pens whose time on is known.
    s_per_cow, low_s, high_s : float
        Time from one cow's entry to the next one's, all losses in it, and its 90 % range. [s]
    between_s : float
        Lost between one pen and the next. [s]
    spread_s : float
        Median distance of a pen's time from the line. [s]
    """

    n: int
    s_per_cow: float
    low_s: float
    high_s: float
    between_s: float
    spread_s: float

    def loss_frac(self, seconds_per_stall_s: float) -> float:
        """Compute the share of stalls lost to empty stalls and second turns together.

        Parameters
        ----------
        seconds_per_stall_s : float
            Pace of the deck. [s]

        Returns
        -------
        float
            Share; below 0 where cows step on faster than the deck is said to turn. [-]
        """
        return 1 - seconds_per_stall_s / self.s_per_cow


def fit_pace(n_cows: Sequence[int], entry_min: Sequence[float]) -> PaceFit | None:
    """Fit the minutes that pens took to step on to their cows, by Theil and Sen's median slope.

    Parameters
    ----------
    n_cows : sequence of int
        Cows of each pen.
    entry_min : sequence of float
        Minutes from a pen's first cow on to the next pen's. [min]

    Returns
    -------
    PaceFit or None
        The fit; None with fewer than 6 pens or pens that are all of one size. [s]

    Raises
    ------
    ValueError
        If the two differ in length.

    Notes
    -----
    Valid: up to 29 % of wild records do not move it; which of empty stalls and second turns lost
    the time cannot be told from these records.
    Checked: tests/schedules/rounds/test_pace.py::test_a_known_pace_is_found_again,
    test_wild_records_do_not_move_it

    References
    ----------
    Sen, P. K., "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
    Assoc. 63:1379-1389, 1968 (through scipy.stats.theilslopes).
    """
    if len(n_cows) != len(entry_min):
        raise ValueError(f"entry_min: {len(n_cows)} times are needed, got {len(entry_min)}")
    if len(n_cows) < FEWEST or len(set(n_cows)) < 2:
        return None
    x, y = np.asarray(n_cows, dtype=float), np.asarray(entry_min, dtype=float) * S_PER_MIN
    slope, intercept, low, high = theilslopes(y, x, 0.9)
    if not slope > 0:
        return None
    spread = float(np.median(np.abs(y - intercept - slope * x)))
    return PaceFit(len(x), float(slope), float(low), float(high), float(intercept), spread)
