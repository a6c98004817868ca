"""A pad's rate: conjugate normal on the logarithm, by hand and by another road."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.rate import (
    BATCH_SD,
    PAD_SD,
    UNKNOWN_PAD,
    PadRate,
    SeenRate,
    learn_rate,
    without_prior,
)

SEEN = st.lists(
    st.builds(SeenRate, st.floats(-0.5, 0.5), st.floats(0.02, 0.4)), min_size=1, max_size=12
)


def test_a_pad_that_nobody_knows_has_the_farms_value() -> None:
    assert learn_rate([]) == UNKNOWN_PAD
    assert UNKNOWN_PAD.range_frac()[1] == 1
    # 0.12 and 0.09 as legs of a right triangle
    assert UNKNOWN_PAD.batch_log_sd == pytest.approx(0.15)


def test_one_batch_by_hand() -> None:
    # prior 0 with variance 0.0144; the batch says 0.2 with 0.12² + 0.09² = 0.0225:
    # weight of the batch 0.0144 / (0.0144 + 0.0225) = 0.3902, variance 0.0144 · (1 - 0.3902)
    learned = learn_rate([SeenRate(0.2, 0.12)])
    assert learned.log_mean == pytest.approx(0.2 * 0.390244, abs=1e-6)
    assert learned.log_sd**2 == pytest.approx(0.0144 * 0.609756, abs=1e-7)
    assert learned.n_batches == 1


@given(seen=SEEN)
def test_many_batches_equal_least_squares_with_the_prior_as_a_row(seen: list[SeenRate]) -> None:
    # generalised least squares of one unknown; numpy solves what the code sums
    values = np.array([0.0, *(s.log_rate for s in seen)])
    sds = np.array([PAD_SD, *(math.hypot(s.log_sd, BATCH_SD) for s in seen)])
    (mean,), *_ = np.linalg.lstsq((1 / sds)[:, None], values / sds, rcond=None)
    learned = learn_rate(seen)
    assert learned.log_mean == pytest.approx(mean, abs=1e-9)
    assert learned.log_sd == pytest.approx(1 / np.linalg.norm(1 / sds))


@given(seen=SEEN)
def test_more_batches_never_make_less_sure_and_stay_between_prior_and_batches(
    seen: list[SeenRate],
) -> None:
    sds = [learn_rate(seen[:n]).log_sd for n in range(len(seen) + 1)]
    assert sds == sorted(sds, reverse=True)
    told = [0.0, *(s.log_rate for s in seen)]
    assert min(told) - 1e-12 <= learn_rate(seen).log_mean <= max(told) + 1e-12


def test_learning_one_by_one_equals_learning_at_once() -> None:
    seen = [SeenRate(0.1, 0.1), SeenRate(-0.2, 0.05), SeenRate(0.3, 0.3)]
    one_by_one = UNKNOWN_PAD
    for each in seen:
        one_by_one = learn_rate([each], one_by_one)
    at_once = learn_rate(seen)
    assert one_by_one.n_batches == at_once.n_batches == 3
    assert one_by_one.log_mean == pytest.approx(at_once.log_mean)
    assert one_by_one.log_sd == pytest.approx(at_once.log_sd)


@given(rate=st.floats(-0.5, 0.5), sd=st.floats(0.02, 0.4), prior=st.floats(-0.2, 0.2))
def test_taking_the_prior_out_undoes_putting_it_in(rate: float, sd: float, prior: float) -> None:
    precision = sd**-2 + 0.15**-2
    mean = (rate * sd**-2 + prior * 0.15**-2) / precision
    found = without_prior(mean, precision**-0.5, prior, 0.15)
    assert found is not None
    assert found.log_rate == pytest.approx(rate, abs=1e-9)
    assert found.log_sd == pytest.approx(sd)


def test_a_posterior_as_wide_as_its_prior_says_nothing() -> None:
    assert without_prior(0.01, 0.149, 0.0, 0.15) is None


def test_the_range_is_that_of_the_lognormal() -> None:
    # e^(0.1 ± 1.28155 · 0.1): 90 % point of the normal, statistical tables
    low, likely, high = PadRate(0.1, 0.1, 4).range_frac()
    assert (low, likely, high) == pytest.approx((0.972238, 1.105171, 1.256280), abs=1e-5)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="log_sd"):
        PadRate(0.0, -0.1)
    with pytest.raises(ValueError, match="log_sd"):
        SeenRate(0.0, 0.0)
    with pytest.raises(ValueError, match="prior_sd"):
        without_prior(0.0, 0.1, 0.0, 0.0)
