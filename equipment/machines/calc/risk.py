"""Unplanned stops in hours run on time and in hours run past a service: thin evidence, said so."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scipy import stats

from equipment.site.calc.refusal import RefusedValueError

_P10, _P90 = 0.1, 0.9


@dataclass(frozen=True, slots=True)
class StopRate:
    """What is believed of how often a machine stops: a gamma distribution.

    Parameters
    ----------
    shape : float
        Stops believed or seen. [-]
    per_h : float
        Hours over which they were. [h]
    """

    shape: float
    per_h: float

    def __post_init__(self) -> None:
        """Refuse what is no belief."""
        for name in ("shape", "per_h"):
            value = getattr(self, name)
            if not 0 < value < float("inf"):
                raise RefusedValueError("out_of_range", name, value)

    @property
    def mean_h(self) -> float:
        """Stops an hour [h⁻¹]."""
        return self.shape / self.per_h


def learned_rate(prior: StopRate, n_stops: int, run_h: float) -> StopRate:
    """Update the belief in a rate of stops by a record.

    Parameters
    ----------
    prior : StopRate
        The farm's guess and its weight in hours.
    n_stops : int
        Stops in the record.
    run_h : float
        Hours run in it. [h]

    Returns
    -------
    StopRate
        Gamma with the stops and the hours added. [-], [h]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for stops or hours below zero.

    Notes
    -----
    Valid: while stops come one by one at an even rate (Poisson); a bad repair that fails again and
    again is not that.
    Checked: tests/equipment/machines/test_risk.py::test_stops_and_hours_add_to_the_belief,
    test_a_published_rate_has_its_published_range

    References
    ----------
    .. [1] A. Gelman et al., "Bayesian Data Analysis", 3rd ed. (2013), section 2.6: Poisson model
       with exposure and its conjugate prior.
    """
    for name, value in (("n_stops", n_stops), ("run_h", run_h)):
        if not 0 <= value < float("inf"):
            raise RefusedValueError("out_of_range", name, value)
    return StopRate(prior.shape + n_stops, prior.per_h + run_h)


def rate_range(rate: StopRate, low: float = _P10, high: float = _P90) -> tuple[float, float]:
    """Compute the range of a rate of stops.

    Parameters
    ----------
    rate : StopRate
        The belief.
    low, high : float
        Shares below; 8 of 10 lie between as a rule. [-]

    Returns
    -------
    tuple of float
        Stops an hour. [h⁻¹]

    Notes
    -----
    Valid: any belief.
    Checked: tests/equipment/machines/test_risk.py::test_a_published_rate_has_its_published_range

    References
    ----------
    .. [1] As `learned_rate`.
    """
    points = stats.gamma.ppf([low, high], rate.shape, scale=1 / rate.per_h)
    return float(points[0]), float(points[1])


def times_as_often(
    over: StopRate, on_time: StopRate, low: float = _P10, high: float = _P90
) -> tuple[float, float]:
    """Compute the range of how many times as often stops come past a service as on time.

    Parameters
    ----------
    over, on_time : StopRate
        Beliefs in the two rates, apart from each other.
    low, high : float
        As in `rate_range`. [-]

    Returns
    -------
    tuple of float
        A range that holds 1 shows no difference. [-]

    Notes
    -----
    The ratio of two gammas of equal scale is a beta prime distribution.

    Valid: with separate records; what makes a machine overrun may also make it stop.
    Checked: tests/equipment/machines/test_risk.py::test_the_ratio_is_that_of_drawn_rates

    References
    ----------
    .. [1] N. L. Johnson, S. Kotz, N. Balakrishnan, "Continuous Univariate Distributions", vol. 2,
       2nd ed. (1995), ch. 27: ratio of independent gamma variables.
    """
    points = stats.betaprime.ppf([low, high], over.shape, on_time.shape)
    scale = on_time.per_h / over.per_h
    return float(points[0] * scale), float(points[1] * scale)


def stop_chance_frac(rate: StopRate, run_h: float) -> float:
    """Compute the chance of one stop or more in the hours to come.

    Parameters
    ----------
    rate : StopRate
        The belief.
    run_h : float
        Hours to be run. [h]

    Returns
    -------
    float
        1 less the chance of none, over all rates believed. [-]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for hours below zero.

    Notes
    -----
    Valid: as `learned_rate`.
    Checked: tests/equipment/machines/test_risk.py::test_the_chance_is_the_negative_binomials

    References
    ----------
    .. [1] A. Gelman et al., "Bayesian Data Analysis", 3rd ed. (2013), section 2.6: the prior
       predictive distribution is negative binomial.
    """
    if not 0 <= run_h < float("inf"):
        raise RefusedValueError("out_of_range", "run_h", run_h)
    return float(1 - (rate.per_h / (rate.per_h + run_h)) ** rate.shape)


def overrun_spans_h(
    done_h: Sequence[float], began_h: float, every_h: float, now_h: float
) -> list[tuple[float, float]]:
    """Find the hours of a machine's life in which one service was overdue.

    Parameters
    ----------
    done_h : sequence of float
        Hours run at each service done, in any order. [h]
    began_h : float
        Hours run when the record began. [h]
    every_h : float
        Hours between two. [h]
    now_h : float
        Hours run by now. [h]

    Returns
    -------
    list of tuple of float
        From and until, in hours run. [h]

    Notes
    -----
    Valid: between two services of the record and after the last; before the first nothing is known
    of the one before it, and nothing is counted.
    Checked: tests/equipment/machines/test_risk.py::test_hours_past_the_mark_by_hand

    References
    ----------
    .. [1] Arithmetic.
    """
    marks = sorted(h for h in done_h if began_h <= h <= now_h)
    ends = [*marks[1:], now_h]
    return [
        (done + every_h, end)
        for done, end in zip(marks, ends, strict=False)
        if end > done + every_h
    ]


@dataclass(frozen=True, slots=True)
class StopRecord:
    """Hours and stops of a record.

    Parameters
    ----------
    on_time_h, over_h : float
        Hours run with no service overdue, and with one or more. [h]
    n_on_time, n_over : int
        Stops in each.
    """

    on_time_h: float
    over_h: float
    n_on_time: int
    n_over: int

    def __add__(self, other: "StopRecord") -> "StopRecord":
        """Add the record of another machine."""
        return StopRecord(
            self.on_time_h + other.on_time_h,
            self.over_h + other.over_h,
            self.n_on_time + other.n_on_time,
            self.n_over + other.n_over,
        )


def stop_record(
    over_spans_h: Iterable[tuple[float, float]],
    stops_h: Iterable[float],
    began_h: float,
    now_h: float,
) -> StopRecord:
    """Sort the hours and stops of a machine into on time and past a service.

    Parameters
    ----------
    over_spans_h : iterable of tuple of float
        From `overrun_spans_h`, of all its services; they may overlap. [h]
    stops_h : iterable of float
        Hours run at each stop. [h]
    began_h, now_h : float
        Hours run when the record began and by now. [h]

    Returns
    -------
    StopRecord
        Hours past any service are counted once. [h]

    Notes
    -----
    Valid: any record.
    Checked: tests/equipment/machines/test_risk.py::test_hours_past_the_mark_by_hand

    References
    ----------
    .. [1] Arithmetic.
    """
    merged: list[tuple[float, float]] = []
    for start, end in sorted(over_spans_h):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    over_h = sum(end - start for start, end in merged)
    stops = [h for h in stops_h if began_h <= h <= now_h]
    n_over = sum(any(start < h <= end for start, end in merged) for h in stops)
    return StopRecord(now_h - began_h - over_h, over_h, len(stops) - n_over, n_over)
