"""How likely each job of a plan ends in its window, when work takes more or less than planned."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime
from math import exp, log1p, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.problem import Job, Problem, Relation
from schedules.dayplan.calc.solution import Assignment

Minutes = NDArray[np.float64]
TO_START = (Relation.FINISH_TO_START, Relation.START_TO_START)
TO_FINISH = (Relation.FINISH_TO_FINISH, Relation.START_TO_FINISH)


def chances_in_time(
    problem: Problem, plan: Iterable[Assignment], *, n_members: int = 400, seed: int = 0
) -> dict[str, float]:
    """Simulate a plan with durations that vary; give each job's chance to end in its window.

    Parameters
    ----------
    problem : Problem
        Each job's `spread_frac` is the standard deviation of its duration over the planned. [-]
    plan : iterable of Assignment
        Nobody begins before the planned start, nor before they, their machine and the place are
        free and what must come first has ended.
    n_members : int
        How many such days are drawn.
    seed : int
        Of the draws.

    Returns
    -------
    dict of str to float
        By job, the share of days on which it ends by the end of the window it was planned in. [-]

    Raises
    ------
    ValueError
        `n_members` below 1.

    Notes
    -----
    Valid: durations that are independent and log-normal with the planned as their mean; ways take
    what they are planned to take, and nobody changes the plan when it runs late.
    Checked: tests/schedules/dayplan/test_robust.py::test_one_job_has_the_chance_of_the_log_normal

    References
    ----------
    Log-normal of mean m and standard deviation s: sigma^2 = ln(1 + (s/m)^2), mu = ln m - sigma^2/2
    (Johnson, Kotz, Balakrishnan, "Continuous Univariate Distributions" 1, 2nd ed., ch. 14, from
    memory; scipy.stats.lognorm is the check).
    """
    if n_members < 1:
        raise ValueError(f"n_members {n_members} is below 1")
    return _Days(problem, list(plan), n_members, seed).chances()


class _Days:
    """Many days of one plan at once: an array over the members for each job."""

    def __init__(self, problem: Problem, plan: list[Assignment], n_members: int, seed: int) -> None:
        self.jobs = {job.id: job for job in problem.jobs}
        self.plan = sorted(plan, key=lambda given: (given.start, given.job))
        self.legs = travel_legs(problem, plan)
        self.zero = problem.horizon.start
        self.exclusive = {place.key for place in problem.places if place.is_exclusive}
        self.rng = np.random.default_rng(seed)
        self.n_members = n_members
        self.ends: dict[str, Minutes] = {}
        self.starts: dict[str, Minutes] = {}

    def chances(self) -> dict[str, float]:
        """Go through the jobs in order of their start."""
        free_at: dict[str, Minutes] = defaultdict(lambda: np.zeros(self.n_members))
        found = {}
        for given in self.plan:
            job = self.jobs[given.job]
            places = self.exclusive & set(job.places)
            start = np.maximum(self._ready(given, job), self._minute(given.start))
            for place in places:
                start = np.maximum(start, free_at[place])
            end = np.maximum(start + self._durations(given, job), self._held(job, TO_FINISH))
            self.starts[given.job], self.ends[given.job] = start, end
            for place in places:
                free_at[place] = end
            found[given.job] = float(np.mean(end <= self._until(given, job) + 1e-6))
        return found

    def _ready(self, given: Assignment, job: Job) -> Minutes:
        """When its people and machine are there, and what must come first is over."""
        ready = np.zeros(self.n_members)
        for leg in self.legs[given.job]:
            for before in (leg.before, leg.machine_before):
                if before is not None and before in self.ends:
                    ready = np.maximum(ready, self.ends[before] + leg.travel_min)
        return np.maximum(ready, self._held(job, TO_START))

    def _held(self, job: Job, relations: Collection[Relation]) -> Minutes:
        """How long what it waits for keeps its start, or its end, back."""
        held = np.full(self.n_members, -np.inf)
        for need in job.depends_on:
            if need.on in self.ends and need.relation in relations:
                is_end = need.relation in (Relation.FINISH_TO_START, Relation.FINISH_TO_FINISH)
                since = self.ends[need.on] if is_end else self.starts[need.on]
                held = np.maximum(held, since + need.min_gap_min)
        return held

    def _durations(self, given: Assignment, job: Job) -> Minutes:
        planned_min = self._minute(given.end) - self._minute(given.start)
        sigma = np.sqrt(np.log1p(job.spread_frac**2))
        drawn = self.rng.normal(-(sigma**2) / 2, sigma, self.n_members)
        return np.asarray(planned_min * np.exp(drawn), dtype=np.float64)

    def _until(self, given: Assignment, job: Job) -> float:
        """End of the window it was planned in; of a job locked outside all, its planned end."""
        ends = [w.end for w in job.windows if w.start <= given.start and given.end <= w.end]
        return self._minute(max(ends, default=given.end))

    def _minute(self, at: datetime) -> float:
        return (at - self.zero).total_seconds() / 60


def slack_for(duration_min: float, spread_frac: float, chance_frac: float) -> float:
    """Give how much more time than planned a job takes with a chance no more than wanted.

    Parameters
    ----------
    duration_min : float
        Planned, the mean. [min]
    spread_frac : float
        Standard deviation over the mean. [-]
    chance_frac : float
        How likely it should end within duration and slack, above 0 and below 1. [-]

    Returns
    -------
    float
        Never below 0. [min]

    Raises
    ------
    statistics.StatisticsError
        `chance_frac` is not between 0 and 1.

    Notes
    -----
    Valid: one job whose begin is kept; durations log-normal with the planned as their mean.
    Checked: tests/schedules/dayplan/test_robust.py::test_slack_is_the_quantile_of_the_log_normal

    References
    ----------
    Quantile of the log-normal: exp(mu + z sigma), with mu and sigma of `chances_in_time`.
    """
    variance = log1p(spread_frac**2)
    z = NormalDist().inv_cdf(chance_frac)
    return max(0.0, duration_min * (exp(z * sqrt(variance) - variance / 2) - 1))
