"""How hard a machine is used: hours a day of late, their weekly pattern, spread and trend.

Days laid up are left out: a machine on hold, under repair or parked for a week says nothing of how
hard it will run when it works. scipy.stats serves for the Theil-Sen line and the rank test.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from equipment.machines.calc.downtime import Span, down_spans
from equipment.machines.calc.meter import ROUNDING_H, MeterSeries
from equipment.site.calc.local_time import elapsed_h
from equipment.site.calc.refusal import RefusedValueError

RATE_D = 28  # counted days that the rate is taken from
WINDOW_D = 84  # days looked back: twelve weeks for pattern, scatter and trend
LAID_UP_D = 7  # so many days without an hour are a machine laid up, not one that rests
_WEEK_D = 7
_TREND_WEEKS = 6  # fewer say nothing of a trend
_PATTERN_WEEKS = 4
_PATTERN_P = 0.01  # a pattern rarer than that by chance is believed
_P10_TO_P90_SD = 2 * 1.2815515655446004  # of a normal distribution: stats.norm.ppf(0.9)
_FLAT = (1.0,) * _WEEK_D
_DAY = timedelta(days=1)
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of the daily use from week to week; in 8 of 10 it lies between low and high.

    Parameters
    ----------
    low_h_d_w, likely_h_d_w, high_h_d_w : float
        Hours a day more in each week. [h d⁻¹ week⁻¹]
    n_weeks : int
        Weeks that it was taken from.
    """

    low_h_d_w: float
    likely_h_d_w: float
    high_h_d_w: float
    n_weeks: int

    @property
    def is_seen(self) -> bool:
        """Whether the range leaves zero out."""
        return self.low_h_d_w > 0 or self.high_h_d_w < 0


@dataclass(frozen=True, slots=True)
class DailyUse:
    """Hours a machine runs in a day of 24 elapsed hours, while it is not laid up.

    Parameters
    ----------
    rate_h_d : float
        Mean of the days to come. [h d⁻¹]
    scatter_h : float
        Standard deviation of one day around it. [h]
    n_days : int
        Days that the rate was taken from.
    laid_up_d : int
        Days of the window left out. [d]
    next_days_frac : tuple of float, shape (7,)
        What each of the seven days after the last reading bears of the rate; their mean is 1. [-]
    trend : Trend or None
        None while fewer than six weeks were counted.
    """

    rate_h_d: float
    scatter_h: float
    n_days: int
    laid_up_d: int = 0
    next_days_frac: tuple[float, ...] = _FLAT
    trend: Trend | None = None

    def __post_init__(self) -> None:
        """Refuse uses that no machine has."""
        if not 0 <= self.rate_h_d <= 24:
            raise RefusedValueError("out_of_range", "rate_h_d", self.rate_h_d)
        if not 0 <= self.scatter_h < float("inf"):
            raise RefusedValueError("out_of_range", "scatter_h", self.scatter_h)
        if len(self.next_days_frac) != _WEEK_D or min(self.next_days_frac) < 0:
            raise RefusedValueError("out_of_range", "next_days_frac", self.next_days_frac)

    @property
    def rate_sd_h_d(self) -> float:
        """How unsure the rate itself is: the scatter over the root of the days [h d⁻¹]."""
        return float(self.scatter_h / np.sqrt(max(self.n_days, 1)))


def recent_use(series: MeterSeries, laid_up: Iterable[Span] = ()) -> DailyUse | None:
    """Estimate the daily use of a machine from its last twelve weeks.

    Parameters
    ----------
    series : MeterSeries
        Its readings.
    laid_up : iterable of Span
        When it was on hold or under repair.

    Returns
    -------
    DailyUse or None
        None while the readings span less than a day. [h d⁻¹], [h]

    Notes
    -----
    The total is read off at the ends of whole days, counted back from the last reading, on straight
    lines between readings. A day laid up for more than its half, and each of seven or more days in
    a row without an hour, is left out. The rate is the winsorised mean of the last 28 days counted,
    since the hours to come are a sum: a median would forget the idle days of a machine that runs
    five days in seven. The trend is the Theil-Sen line through the means of weeks.
    The scatter is the larger of what single days and what whole weeks show, so that weekly
    readings, which make seven equal days, do not hide it. The pattern is the median of each
    weekday, believed when the rank test of Kruskal and Wallis finds it rarer than 1 in 100 by
    chance. The trend is told and not carried forward: what comes is what the last weeks were.

    Valid: for use that goes on as it did; a harvest or a sold herd is not in it.
    Checked: tests/equipment/machines/test_use.py::test_the_trend_is_the_median_of_all_pairs,
    test_the_range_holds_eight_in_ten_of_simulated_machines

    References
    ----------
    .. [1] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal of
       the American Statistical Association 63 (1968), 1379-1389.
    .. [2] W. H. Kruskal, W. A. Wallis, "Use of ranks in one-criterion variance analysis", Journal
       of the American Statistical Association 47 (1952), 583-621.
    """
    if not series.kept:
        return None
    last_at, first_at = series.kept[-1].at, series.kept[0].at
    n_days = min(WINDOW_D, (last_at - first_at) // _DAY)
    if n_days < 1:
        return None
    ends = [last_at - n * _DAY for n in range(n_days, -1, -1)]
    hours = np.maximum(0.0, np.diff([series.total_h_at(end) for end in ends]))
    is_counted = ~(_is_held(ends, laid_up) | _is_parked(hours))
    before_next = np.arange(n_days - 1, -1, -1) % _WEEK_D  # 6: the weekday of the day that is next
    return _use_of(hours[is_counted], before_next[is_counted], int((~is_counted).sum()))


def winsorised_mean(values: Floats) -> float:
    """Compute a mean in which the tenth at each end counts as the value next to it.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one.

    Returns
    -------
    float
        In the unit of the values. [as given]

    Notes
    -----
    Valid: any number of values; below ten it is their plain mean.
    Checked: tests/equipment/machines/test_use.py::test_a_tenth_at_each_end_counts_as_its_neighbour

    References
    ----------
    .. [1] W. J. Dixon, "Simplified estimation from censored normal samples", Annals of
       Mathematical Statistics 31 (1960), 385-391.
    """
    ordered = np.sort(values)
    cut = len(ordered) // 10
    return float(np.clip(ordered, ordered[cut], ordered[len(ordered) - 1 - cut]).mean())


def _use_of(hours: Floats, before_next: NDArray[np.int_], laid_up_d: int) -> DailyUse:
    if not len(hours):
        return DailyUse(0.0, 0.0, 0, laid_up_d)
    recent = hours[-RATE_D:]
    weeks = _week_means(hours)
    return DailyUse(
        min(winsorised_mean(recent), 24.0),
        _scatter_h(hours, weeks),
        len(recent),
        laid_up_d,
        _next_days_frac(hours, before_next),
        _trend(weeks),
    )


def _is_held(ends: Sequence[datetime], laid_up: Iterable[Span]) -> NDArray[np.bool_]:
    """Mark days laid up for more than their half."""
    spans = down_spans(laid_up, ends[0], ends[-1])
    held_h = np.zeros(len(ends) - 1)
    for day, (start, end) in enumerate(pairwise(ends)):
        held_h[day] = sum(
            elapsed_h(max(start, down), min(end, up))
            for down, up in spans
            if down < end and up > start
        )
    return held_h > 12


def _is_parked(hours: Floats) -> NDArray[np.bool_]:
    """Mark seven or more days in a row without an hour."""
    marks: list[bool] = []
    for is_idle, run in groupby((hours < ROUNDING_H).tolist()):
        n = len(list(run))
        marks += [is_idle and n >= LAID_UP_D] * n
    return np.array(marks, dtype=bool)


def _week_means(hours: Floats) -> Floats:
    """Mean hours a day of whole weeks counted back from the last day."""
    n_weeks = len(hours) // _WEEK_D
    last = hours[len(hours) - n_weeks * _WEEK_D :]
    return np.asarray(last.reshape(n_weeks, _WEEK_D).mean(axis=1), dtype=np.float64)


def _scatter_h(hours: Floats, weeks: Floats) -> float:
    low, high = np.quantile(hours, [0.1, 0.9])
    of_days = (high - low) / _P10_TO_P90_SD
    if len(weeks) < _PATTERN_WEEKS:
        return float(of_days)
    of_weeks = stats.median_abs_deviation(weeks, scale="normal") * np.sqrt(_WEEK_D)
    return float(max(of_days, of_weeks))


def _next_days_frac(hours: Floats, before_next: NDArray[np.int_]) -> tuple[float, ...]:
    by_day = [hours[before_next == _WEEK_D - 1 - ahead] for ahead in range(_WEEK_D)]
    if min(map(len, by_day)) < _PATTERN_WEEKS or np.ptp(hours) < ROUNDING_H:
        return _FLAT
    medians = np.array([np.median(day) for day in by_day])
    if medians.sum() <= 0 or stats.kruskal(*by_day).pvalue > _PATTERN_P:
        return _FLAT
    return tuple((medians / medians.mean()).tolist())


def _trend(weeks: Floats) -> Trend | None:
    if len(weeks) < _TREND_WEEKS:
        return None
    line = stats.theilslopes(weeks, alpha=0.8)
    return Trend(float(line.low_slope), float(line.slope), float(line.high_slope), len(weeks))
