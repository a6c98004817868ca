"""A plan's chances, against scipy's log-normal and against what cannot be otherwise."""

import numpy as np
import pytest
from scipy import stats

from schedules.dayplan.calc.problem import Dependency, Relation
from schedules.dayplan.calc.robust import chances_in_time, slack_for

from .tiny import a_day, a_job, a_person, at, booked, plan_of, solved, span

N = 40_000
TOLERANCE = 4 * 0.5 / np.sqrt(N)  # four standard errors of a share


def log_normal(mean: float, spread: float) -> stats.rv_continuous:
    sigma = np.sqrt(np.log1p(spread**2))
    return stats.lognorm(s=sigma, scale=mean * np.exp(-(sigma**2) / 2))


@pytest.mark.parametrize("spread", [0.1, 0.3, 0.8])
def test_one_job_has_the_chance_of_the_log_normal(spread: float) -> None:
    problem = a_day(a_person(), a_job(windows=(span(0, 25),), spread_frac=spread))

    found = chances_in_time(problem, solved(problem).assignments, n_members=N)

    drawn = log_normal(20, spread)
    assert (drawn.mean(), drawn.std()) == pytest.approx((20, 20 * spread))
    assert found["job"] == pytest.approx(drawn.cdf(25), abs=TOLERANCE)


def test_who_is_late_at_one_job_is_late_at_the_next() -> None:
    """The second begins when the first has ended: by numerical convolution of two log-normals."""
    jobs = [a_job(key, windows=(span(0, 45),), spread_frac=0.3) for key in ("one", "two")]
    problem = a_day(a_person(), *jobs)
    plan = plan_of(problem, one=booked("ana", 0, 20), two=booked("ana", 20, 40)).assignments

    found = chances_in_time(problem, plan, n_members=N)

    first, x = log_normal(20, 0.3), np.linspace(0.01, 45, 4001)
    begins_late = np.trapezoid(
        np.where(x > 20, first.pdf(x) * log_normal(20, 0.3).cdf(45 - x), 0), x
    )
    in_time = first.cdf(20) * log_normal(20, 0.3).cdf(25)
    assert found["two"] == pytest.approx(begins_late + in_time, abs=TOLERANCE)
    assert found["one"] > 0.99


@pytest.mark.parametrize("relation", list(Relation))
def test_what_must_come_first_delays_by_its_end_or_its_start(relation: Relation) -> None:
    """Two people; the second waits for the first's end, or only for its start."""
    first = a_job("first", windows=(span(0, 300),), spread_frac=0.5)
    then = a_job("then", windows=(span(0, 60),), depends_on=(Dependency("first", relation, 0),))
    problem = a_day(a_person("ana"), a_person("ben"), first, then)
    plan = plan_of(problem, first=booked("ana", 0, 20), then=booked("ben", 20, 40)).assignments

    found = chances_in_time(problem, plan, n_members=N)

    latest_end = {Relation.FINISH_TO_START: 40, Relation.FINISH_TO_FINISH: 60}.get(relation)
    expected = log_normal(20, 0.5).cdf(latest_end) if latest_end else 1
    assert found["then"] == pytest.approx(expected, abs=TOLERANCE)


def test_one_in_a_place_that_takes_one_waits_for_the_other() -> None:
    in_bay = {"place": "bay", "windows": (span(0, 45),), "spread_frac": 0.5}
    jobs = [a_job(key, **in_bay) for key in ("one", "two")]
    problem = a_day(a_person("ana"), a_person("ben"), *jobs)
    plan = plan_of(problem, one=booked("ana", 0, 20), two=booked("ben", 20, 40)).assignments

    alone = chances_in_time(problem, plan[1:], n_members=N)["two"]

    assert chances_in_time(problem, plan, n_members=N)["two"] < alone - 0.1


def test_without_spread_a_plan_that_keeps_its_windows_is_certain() -> None:
    problem = a_day(a_person(), a_job("one"), a_job("two"))

    assert chances_in_time(problem, solved(problem).assignments) == {"one": 1, "two": 1}


def test_the_same_seed_gives_the_same_chances() -> None:
    problem = a_day(a_person(), a_job(windows=(span(0, 25),), spread_frac=0.3))
    plan = solved(problem).assignments

    assert chances_in_time(problem, plan, seed=3) == chances_in_time(problem, plan, seed=3)
    with pytest.raises(ValueError, match="n_members 0 is below 1"):
        chances_in_time(problem, plan, n_members=0)
    assert at(0) == problem.horizon.start


@pytest.mark.parametrize("chance", [0.5, 0.8, 0.9, 0.99])
@pytest.mark.parametrize("spread", [0.0, 0.1, 0.2, 0.6])
def test_slack_is_the_quantile_of_the_log_normal(spread: float, chance: float) -> None:
    """scipy.stats.lognorm; for even chances the median lies below the mean: no slack."""
    longest = log_normal(30, spread).ppf(chance) if spread else 30.0

    assert slack_for(30, spread, chance) == pytest.approx(max(0, longest - 30))
