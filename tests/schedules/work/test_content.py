"""What work takes a unit: the posterior against a book, scipy and drawn samples; its limits."""

from math import exp, isnan, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from equipment.site.calc.refusal import RefusedValueError
from schedules.work.calc.content import Prior, learn, loads_h, pull_in, unit_min
from schedules.work.rules import minutes_for

minutes = st.floats(0.01, 100)
records = st.lists(minutes, min_size=1, max_size=40)


# Minutes a unit -----------------------------------------------------------------------------------


@given(
    each=minutes, n_stalls=st.integers(1, 300), n_people=st.integers(1, 6), base=st.integers(0, 30)
)
def test_a_job_gives_back_the_minutes_it_was_made_of(
    each: float, n_stalls: int, n_people: int, base: int
) -> None:
    duration = {"base_min": base, "per_stall_min": each}
    span = minutes_for(duration, n_stalls=n_stalls, n_people=n_people)
    if span > base and span > 1:
        assert unit_min(span, n_stalls, n_people, base) == pytest.approx(each, rel=1e-6)


def test_part_done_work_counts_its_part() -> None:
    """60 of 96 stalls in 26 minutes with 2 to set up: 0.4 a stall, as all 96 in 40.4 would be."""
    assert unit_min(26, 60, 1, 2) == pytest.approx(0.4)
    assert unit_min(40.4, 96, 1, 2) == pytest.approx(0.4)


def test_nothing_beside_the_base_says_nothing() -> None:
    assert isnan(float(unit_min(5, 96, 1, 5)))


def test_array_equals_scalar() -> None:
    spans, units = np.array([10.0, 26.0, 2.0]), np.array([40.0, 60.0, 7.0])
    one_by_one = [float(unit_min(s, u, 3, 2)) for s, u in zip(spans, units, strict=True)]
    assert np.array_equal(unit_min(spans, units, 3, 2), one_by_one, equal_nan=True)
    n = np.array([2.0, 6.0, 9.0])
    paces = [float(loads_h(span, each)) for span, each in zip(spans, n, strict=True)]
    assert np.array_equal(loads_h(spans, n), paces)


@pytest.mark.parametrize(
    ("part", "given_values"),
    [
        ("span_min", (-1, 10, 1, 0)),
        ("n_units", (10, 0, 1, 0)),
        ("n_people", (10, 10, 0, 0)),
        ("base_min", (10, 10, 1, -1)),
        ("span_min", (np.array([5.0, np.nan]), 10, 1, 0)),
        ("n_units", (10, float("inf"), 1, 0)),
    ],
)
def test_minutes_a_unit_refuse_by_name(part: str, given_values: tuple[float, ...]) -> None:
    with pytest.raises(RefusedValueError) as refusal:
        unit_min(*given_values)
    assert (refusal.value.code, refusal.value.part) == ("out_of_range", part)


# Loads an hour ------------------------------------------------------------------------------------


def test_seven_loads_in_an_hour_are_six_cycles() -> None:
    """The first is told when it is brought: six cycles of ten minutes lie between. Arithmetic."""
    assert loads_h(60, 7) == pytest.approx(6)


@pytest.mark.parametrize(("part", "span", "n"), [("first_to_last_min", 0, 3), ("n_loads", 9, 1)])
def test_loads_an_hour_refuse_by_name(part: str, span: float, n: float) -> None:
    with pytest.raises(RefusedValueError) as refusal:
        loads_h(span, n)
    assert refusal.value.part == part


# Jobs far off -------------------------------------------------------------------------------------


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=30), st.floats(0.05, 1))
def test_mad_is_that_of_scipy(logs: list[float], usual_sd: float) -> None:
    """`scipy.stats.median_abs_deviation` with scale normal is the reference."""
    values = np.array(logs)
    reach = 3 * max(stats.median_abs_deviation(values, scale="normal"), usual_sd)
    middle = np.median(values)
    wanted = [min(max(v, middle - reach), middle + reach) for v in values]
    assert pull_in(values, usual_sd) == pytest.approx(wanted)


def test_a_job_left_open_overnight_moves_little() -> None:
    jobs = [0.40, 0.38, 0.42, 0.41, 0.39, 0.40, 0.43, 0.37]
    clean, spoilt = learn(jobs, 0.3), learn([*jobs, 12.0], 0.3)
    assert clean.value < spoilt.value < 1.1 * clean.value
    assert log(12.0 / 0.4) / 9 > 0.37  # what the plain mean would have moved: by half


def test_no_job_is_pulled_where_all_are_alike() -> None:
    assert list(pull_in(np.array([1.0, 1.0, 1.2]), 0.3)) == [1.0, 1.0, 1.2]
    assert pull_in(np.array([]), 0.3).size == 0


def test_pulling_refuses_by_name() -> None:
    with pytest.raises(RefusedValueError) as refusal:
        pull_in(np.array([1.0]), 0.0)
    assert refusal.value.part == "usual_log_sd"


# The posterior ------------------------------------------------------------------------------------

# Wing lengths of nine midges and the prior of the worked example in P. D. Hoff, "A First Course in
# Bayesian Statistical Methods" (2009), section 5.2: μ0 = 1.9, τ0 = 0.95, σ² = 0.017. From memory.
MIDGES_MM = (1.64, 1.70, 1.72, 1.74, 1.82, 1.82, 1.82, 1.90, 2.08)
MIDGE_PRIOR = Prior(default_log_sd=0.95, log_sd=0.017**0.5, n_sd=1e9)  # a spread as good as known


def test_published_worked_example() -> None:
    """There: the posterior of the mean is normal with mean 1.805 and variance 0.002."""
    found = learn([exp(mm) for mm in MIDGES_MM], exp(1.9), MIDGE_PRIOR)
    assert log(found.value) == pytest.approx(1.805, abs=5e-4)
    assert found.error_frac**2 == pytest.approx(0.002, abs=5e-4)
    # by hand: (1.9 / 0.9025 + 16.24 / 0.017) / (1 / 0.9025 + 9 / 0.017)
    assert log(found.value) == pytest.approx(957.3994 / 530.5198, abs=1e-6)


def test_straying_from_job_to_job_is_pooled_with_what_was_thought() -> None:
    """Two jobs at 1 and e: squares 0.5 over one degree; thought: 4 of 0.09. (0.36 + 0.5) / 5."""
    found = learn([1.0, exp(1.0)], 1.0, Prior(default_log_sd=1e3, log_sd=0.3, n_sd=4))
    assert found.error_frac**2 == pytest.approx(0.86 / 5 / 2, rel=1e-4)


def test_posterior_is_that_of_drawn_samples() -> None:
    """Draws from the prior weighed by the record's likelihood: no formula of the posterior's."""
    rng = np.random.default_rng(11)
    prior, default, jobs = Prior(0.3, 0.25, 1e9), 0.4, [0.52, 0.61, 0.47, 0.55, 0.66, 0.5]
    mean = rng.normal(log(default), prior.default_log_sd, 400_000)
    log_weight = sum(stats.norm.logpdf(log(job), mean, prior.log_sd) for job in jobs)
    weight = np.exp(log_weight - np.max(log_weight))
    next_job = rng.normal(mean, prior.log_sd)
    order = np.argsort(next_job)
    share = np.cumsum(weight[order]) / weight.sum()
    low, high = next_job[order][np.searchsorted(share, [0.1, 0.9])]
    middle = np.average(mean, weights=weight)

    found = learn(jobs, default, prior)

    assert log(found.value) == pytest.approx(middle, abs=0.005)
    sd = np.average((mean - middle) ** 2, weights=weight) ** 0.5
    assert found.error_frac == pytest.approx(sd, rel=0.02)
    assert (log(found.low), log(found.high)) == pytest.approx((low, high), abs=0.01)


def test_no_job_leaves_the_default() -> None:
    found = learn([], 0.4)
    assert found.value == pytest.approx(0.4)
    assert (found.weight_frac, found.n_jobs) == (0, 0)
    assert found.low < 0.4 < found.high


def test_it_is_another_value_only_beyond_its_error() -> None:
    """Nine jobs alike: variance 0.45 / 13 over nine jobs is an error of 6 %."""
    assert learn([0.5] * 9, 0.4).is_other
    assert not learn([0.5] * 9, 0.48).is_other


def test_many_jobs_leave_nothing_of_the_default() -> None:
    rng = np.random.default_rng(5)
    found = learn(list(rng.lognormal(log(0.55), 0.2, 20_000)), 0.2)
    assert found.value == pytest.approx(0.55, rel=0.01)
    # eight of ten jobs of that distribution lie within z = 1.2816 of the middle: tables
    assert found.high == pytest.approx(0.55 * exp(1.2816 * 0.2), rel=0.02)
    assert found.error_frac < 0.002


@given(records, minutes)
def test_value_lies_between_default_and_record(jobs: list[float], default: float) -> None:
    found = learn(jobs, default)
    low, high = min(*jobs, default, default), max(*jobs, default, default)
    assert low * (1 - 1e-9) <= found.value <= high * (1 + 1e-9)
    assert found.low < found.value < found.high


@given(records, minutes)
def test_one_job_more_of_the_same_record_weighs_more(jobs: list[float], default: float) -> None:
    once, twice = learn(jobs, default), learn([*jobs, *jobs], default)
    assert twice.weight_frac > once.weight_frac
    assert abs(log(twice.ratio)) >= abs(log(once.ratio)) - 1e-9


@given(records, minutes, st.randoms(use_true_random=False))
def test_order_of_jobs_is_of_no_matter(jobs: list[float], default: float, rng: object) -> None:
    mixed = list(jobs)
    rng.shuffle(mixed)  # type: ignore[attr-defined]  # hypothesis gives a random.Random
    assert learn(mixed, default) == learn(jobs, default)


@given(records, minutes, st.floats(0.1, 10))
def test_another_unit_changes_the_unit_alone(
    jobs: list[float], default: float, scale: float
) -> None:
    plain, scaled = learn(jobs, default), learn([scale * job for job in jobs], scale * default)
    assert scaled.value == pytest.approx(scale * plain.value)
    assert (scaled.low, scaled.high) == pytest.approx((scale * plain.low, scale * plain.high))
    assert scaled.error_frac == pytest.approx(plain.error_frac)


@pytest.mark.parametrize(
    ("jobs", "default", "part"),
    [([0.4, 0.0], 0.3, "jobs"), ([float("nan")], 0.3, "jobs"), ([0.4], 0.0, "default")],
)
def test_learning_refuses_by_name(jobs: list[float], default: float, part: str) -> None:
    with pytest.raises(RefusedValueError) as refusal:
        learn(jobs, default)
    assert (refusal.value.code, refusal.value.part) == ("out_of_range", part)


@pytest.mark.parametrize("part", ["default_log_sd", "log_sd", "n_sd"])
def test_prior_refuses_by_name(part: str) -> None:
    with pytest.raises(RefusedValueError) as refusal:
        Prior(**{part: 0.0})
    assert refusal.value.part == part
