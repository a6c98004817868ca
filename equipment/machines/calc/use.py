"""How hard a machine is used: hours a day of late, robust against idle days and odd readings."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from equipment.machines.calc.meter import MeterSeries
from equipment.site.calc.refusal import RefusedValueError

WINDOW_D = 28
_LOW_FRAC, _HIGH_FRAC = 0.1, 0.9
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DailyUse:
    """Hours a machine runs in a day of 24 elapsed hours.

    Parameters
    ----------
    low_h_d, likely_h_d, high_h_d : float
        One day in ten is below the low and one in ten above the high; likely is the median.
        [h d⁻¹]
    n_days : int
        Days that it was taken from.
    """

    low_h_d: float
    likely_h_d: float
    high_h_d: float
    n_days: int

    def __post_init__(self) -> None:
        """Refuse uses that are negative or out of order."""
        if not 0 <= self.low_h_d <= self.likely_h_d <= self.high_h_d:
            raise RefusedValueError("out_of_range", "use", self.likely_h_d)


def recent_use(series: MeterSeries, window_d: int = WINDOW_D) -> DailyUse | None:
    """Estimate the daily use of a machine from its last weeks.

    Parameters
    ----------
    series : MeterSeries
        Its readings.
    window_d : int
        Days to look back from the last reading, fewer if the readings do not reach so far. [d]

    Returns
    -------
    DailyUse or None
        None while the readings span less than a day.

    Notes
    -----
    The total is read off at the ends of whole days, counted back from the last reading, on straight
    lines between readings: weekly readings so give seven equal days. The median bears almost half
    the days idle; the low then is zero, and the projection has no latest date.
    """
    if not series.kept:
        return None
    last_at, first_at = series.kept[-1].at, series.kept[0].at
    n_days = min(window_d, (last_at - first_at) // _DAY)
    if n_days < 1:
        return None
    totals_h = [series.total_h_at(last_at - n * _DAY) for n in range(n_days, -1, -1)]
    rates_h_d = np.maximum(0.0, np.diff(totals_h))
    low, likely, high = np.quantile(rates_h_d, [_LOW_FRAC, 0.5, _HIGH_FRAC]).tolist()
    return DailyUse(low, likely, high, n_days)
