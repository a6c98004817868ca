"""How much of its sand a farm gets back, from weighed or counted loads."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

MAD_SD = 1.4826  # of a normal distribution, 1 / Φ⁻¹(3/4)
MEDIAN_SE = math.sqrt(math.pi / 2)  # of a normal distribution, against the mean's
LEAST_PERIODS = 4  # fewer tell nothing about their spread; common practice, no source


@dataclass(frozen=True, slots=True)
class Period:
    """Sand bedded and sand that came out of the lanes in a period; dry mass.

    Parameters
    ----------
    bedded_kg : float
        Into the beds, above 0. [kg]
    recovered_kg : float
        Out of the lanes, 0 or more. [kg]

    Raises
    ------
    ValueError
        If a mass is out of range.
    """

    bedded_kg: float
    recovered_kg: float

    def __post_init__(self) -> None:
        if not 0 < self.bedded_kg < math.inf:
            raise ValueError(f"bedded_kg must be > 0, got {self.bedded_kg}")
        if not 0 <= self.recovered_kg < math.inf:
            raise ValueError(f"recovered_kg must be 0 or more, got {self.recovered_kg}")


@dataclass(frozen=True, slots=True)
class MeasuredRecovery:
    """A recovery with its spread.

    Parameters
    ----------
    frac : float
        Median of the periods' shares. [-]
    spread_frac : float
        Standard deviation of one period about it, by the median absolute deviation. [-]
    sd_frac : float
        Standard deviation of the median itself. [-]
    n : int
        Periods.
    """

    frac: float
    spread_frac: float
    sd_frac: float
    n: int


def calibrate_recovery(periods: Sequence[Period]) -> MeasuredRecovery | None:
    """Estimate the share of bedded sand that the lanes give back.

    Parameters
    ----------
    periods : sequence of Period
        Of equal length, none overlapping.

    Returns
    -------
    MeasuredRecovery or None
        Median, spread and n [-]; None of fewer than four periods.

    Notes
    -----
    Valid: sand in the beds neither grew nor shrank over the whole time: what beds store or lose
    shows as recovery. A share above 1 in one period is kept, since loads follow days later; half of
    all periods may be wrong before the median is.

    Checked: tests/equipment/sandyard/test_recovery.py::test_a_few_wild_weeks_change_little,
    test_median_and_spread_of_a_published_sample

    References
    ----------
    Rousseeuw and Croux, "Alternatives to the Median Absolute Deviation", J. Am. Stat. Assoc. 88,
    1993, eq. 1.2 (1.4826); asymptotic error of a median: Kenney and Keeping, Mathematics of
    Statistics, 1962, p. 211.
    """
    if len(periods) < LEAST_PERIODS:
        return None
    shares = [period.recovered_kg / period.bedded_kg for period in periods]
    middle = median(shares)
    spread = MAD_SD * median(abs(share - middle) for share in shares)
    sd = MEDIAN_SE * spread / math.sqrt(len(shares))
    return MeasuredRecovery(middle, spread, sd, len(shares))
