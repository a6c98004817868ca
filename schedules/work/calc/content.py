"""What work takes a unit (a stall, a ton, a time), learned from the record of jobs.

Nothing here knows who did a job: the record is of a kind of work and a machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from equipment.site.calc.refusal import RefusedValueError

Amount = float | NDArray[np.float64]
MAD_TO_SD = 1.482602218505602  # 1 / Φ⁻¹(3/4), for a normal distribution
FAR_SD = 3.0  # a job farther off than this is pulled in; common practice, no source
_P90 = 0.9
_MIN_PER_H = 60.0


def _require_above_zero(**values: float) -> None:
    for name, value in values.items():
        if not 0 < value < float("inf"):
            raise RefusedValueError("out_of_range", name, value)


@dataclass(frozen=True, slots=True)
class Prior:
    """How sure a default is, and how far jobs stray from each other, before there is a record.

    Parameters
    ----------
    default_log_sd : float
        How far the truth may be from the default, on the logarithm, above 0. [-]
    log_sd : float
        How far one job strays from another, on the logarithm, above 0. [-]
    n_sd : float
        Jobs that this straying is worth, at least 2. [-]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for what is not so.

    Notes
    -----
    Rates of the trade for one kind of grooming lie between 0.6 and 1.6 times their middle (0.15 to
    0.4 min a stall by hand, 0.03 to 0.08 mounted: common practice, no time study); taken as 8 of 10
    farms that is 0.38 on the logarithm. Jobs: 8 of 10 between 0.68 and 1.47 times the middle one;
    common practice, no source.
    """

    default_log_sd: float = 0.38
    log_sd: float = 0.3
    n_sd: float = 5.0

    def __post_init__(self) -> None:
        """Refuse what is no belief."""
        _require_above_zero(default_log_sd=self.default_log_sd, log_sd=self.log_sd)
        if not 2 <= self.n_sd < float("inf"):
            raise RefusedValueError("out_of_range", "n_sd", self.n_sd)


USUAL_PRIOR = Prior()
MACHINE_PRIOR = Prior(default_log_sd=0.15)  # machines of a kind differ less; common practice


@dataclass(frozen=True, slots=True)
class Learned:
    """What is believed of a figure after the record.

    Parameters
    ----------
    value : float
        The middle: as many jobs above it as below. In the unit of the default.
    default : float
        What it was drawn to.
    n_jobs : int
        Jobs on record.
    weight_frac : float
        How much of the value is the record's and not the default's. [-]
    low, high : float
        P10 and P90 of one job more.
    error_frac : float
        Standard error of the value's logarithm, as good as a share of the value. [-]
    """

    value: float
    default: float
    n_jobs: int
    weight_frac: float
    low: float
    high: float
    error_frac: float

    @property
    def ratio(self) -> float:
        """How many times the default it is [-]."""
        return self.value / self.default

    @property
    def is_other(self) -> bool:
        """Whether it is farther from the default than its standard error."""
        return abs(log(self.ratio)) > self.error_frac


def unit_min(
    span_min: Amount, n_units: Amount, n_people: Amount = 1.0, base_min: Amount = 0.0
) -> Amount:
    """Compute the person-minutes that a job took a unit.

    Parameters
    ----------
    span_min : float or ndarray
        From start to end, on the clock. [min]
    n_units : float or ndarray
        What was done of it: of work part done, only that part. [-]
    n_people : float or ndarray
        People at once, who share all but the base. [-]
    base_min : float or ndarray
        What each job takes, however big it is. [min]

    Returns
    -------
    float or ndarray
        Not a number where nothing remains beside the base: such a job says nothing of its units.
        [min]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for minutes or a base below zero, or units or people not above it.

    Notes
    -----
    The inverse of how a standing order reckons: base + units · minutes a unit / people. Only the
    variable part is learned; the base stays the order's.

    Valid: for work done in one go; pauses are on no record and count as work.
    Checked: tests/schedules/work/test_content.py::test_a_job_gives_back_the_minutes_it_was_made_of,
    test_array_equals_scalar

    References
    ----------
    .. [1] Arithmetic.
    """
    for name, given, is_low in (
        ("span_min", span_min, np.less(span_min, 0)),
        ("n_units", n_units, np.less_equal(n_units, 0)),
        ("n_people", n_people, np.less_equal(n_people, 0)),
        ("base_min", base_min, np.less(base_min, 0)),
    ):
        if np.any(is_low) or not np.all(np.isfinite(given)):
            raise RefusedValueError("out_of_range", name, given)
    left_min = np.subtract(span_min, base_min)
    each = np.where(left_min > 0, left_min * n_people / n_units, np.nan)
    return float(each) if each.ndim == 0 else each


def loads_h(first_to_last_min: Amount, n_loads: Amount) -> Amount:
    """Compute the loads an hour of one job from when its loads were counted.

    Parameters
    ----------
    first_to_last_min : float or ndarray
        From the first load told to the last, above 0. [min]
    n_loads : float or ndarray
        Loads told, the first and the last among them, at least 2. [-]

    Returns
    -------
    float or ndarray
        On the clock. [h⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for no time, or fewer than two loads.

    Notes
    -----
    Between n loads lie n - 1 cycles; what comes before the first and after the last is left out.

    Valid: while each load is told as it is brought; told all at once they say nothing.
    Checked: tests/schedules/work/test_content.py::test_seven_loads_in_an_hour_are_six_cycles,
    test_array_equals_scalar

    References
    ----------
    .. [1] Arithmetic; as cycles an hour of US Army, FM 5-434 "Earthmoving Operations", 2000, ch. 5.
    """
    for name, given, is_low in (
        ("first_to_last_min", first_to_last_min, np.less_equal(first_to_last_min, 0)),
        ("n_loads", n_loads, np.less(n_loads, 2)),
    ):
        if np.any(is_low) or not np.all(np.isfinite(given)):
            raise RefusedValueError("out_of_range", name, given)
    pace = np.divide(np.subtract(n_loads, 1) * _MIN_PER_H, first_to_last_min)
    return float(pace) if np.ndim(pace) == 0 else pace


def pull_in(log_values: NDArray[np.float64], usual_log_sd: float) -> NDArray[np.float64]:
    """Pull jobs that lie far off to the edge of what is usual.

    Parameters
    ----------
    log_values : ndarray, shape (n,)
        Logarithms, in any order. [-]
    usual_log_sd : float
        The least spread taken for usual, above 0. [-]

    Returns
    -------
    ndarray, shape (n,)
        No value farther than three spreads from the median. [-]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a spread that is not above 0.

    Notes
    -----
    The spread is the median absolute deviation made equal to a standard deviation. A job left open
    over lunch counts as a long one, and no longer.

    Valid: while fewer than half the jobs are wrong.
    Checked: tests/schedules/work/test_content.py::test_mad_is_that_of_scipy,
    test_a_job_left_open_overnight_moves_little

    References
    ----------
    .. [1] P. J. Huber, E. M. Ronchetti, "Robust Statistics", 2nd ed. (2009), section 5.1 (median
       absolute deviation) and the winsorized values of section 1.3; from memory.
    """
    _require_above_zero(usual_log_sd=usual_log_sd)
    if log_values.size == 0:
        return log_values
    middle = np.median(log_values)
    mad = np.median(np.abs(log_values - middle))
    reach = FAR_SD * max(MAD_TO_SD * float(mad), usual_log_sd)
    return np.clip(log_values, middle - reach, middle + reach)


def learn(jobs: Sequence[float], default: float, prior: Prior = USUAL_PRIOR) -> Learned:
    """Learn a figure from jobs on record, drawn to the default while they are few.

    Parameters
    ----------
    jobs : sequence of float
        What each job took a unit (or its loads an hour), above 0, in any order. [any]
    default : float
        What was thought before, above 0; in the unit of the jobs. [any]
    prior : Prior
        How much that counts.

    Returns
    -------
    Learned
        The default itself where there is no job. [any]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a job or a default that is not above zero.

    Notes
    -----
    The logarithm of a job is normal about its kind's own mean, and that mean normal about the
    default's. The posterior mean weighs both by their precision: the record's is its jobs over the
    variance from job to job, which is pooled with what was thought of it (`Prior.n_sd` jobs) and
    then taken as known. One job more strays by both. Jobs far off are pulled in first (`pull_in`).

    Valid: for jobs of one kind under like conditions; weights do not fade with time.
    Checked: tests/schedules/work/test_content.py::test_published_worked_example,
    test_posterior_is_that_of_drawn_samples, test_no_job_leaves_the_default,
    test_many_jobs_leave_nothing_of_the_default

    References
    ----------
    .. [1] A. Gelman et al., "Bayesian Data Analysis", 3rd ed. (2013), eq. 2.11 and 2.12: normal
       mean with known variance; section 3.3 for the pooled variance (from memory).
    .. [2] P. D. Hoff, "A First Course in Bayesian Statistical Methods" (2009), section 5.2.
    """
    _require_above_zero(default=default)
    values = np.sort(np.asarray(jobs, dtype=np.float64))
    if values.size and not (np.isfinite(values).all() and values[0] > 0):
        raise RefusedValueError("out_of_range", "jobs", values)
    logs = pull_in(np.log(values), prior.log_sd)
    n, middle = logs.size, log(default)
    mean = float(logs.mean()) if n else middle
    squares = prior.n_sd * prior.log_sd**2 + float(np.square(logs - mean).sum())
    variance = squares / (prior.n_sd + max(n - 1, 0))
    precision = 1 / prior.default_log_sd**2 + n / variance
    weight = n / variance / precision
    log_value = (1 - weight) * middle + weight * mean
    reach = float(stats.norm.ppf(_P90)) * sqrt(variance + 1 / precision)
    return Learned(
        value=exp(log_value),
        default=default,
        n_jobs=n,
        weight_frac=weight,
        low=exp(log_value - reach),
        high=exp(log_value + reach),
        error_frac=precision**-0.5,
    )
