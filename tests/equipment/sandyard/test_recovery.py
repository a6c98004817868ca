"""Recovery from loads: robust, with its spread."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.sandyard.calc import Period, calibrate_recovery

shares = st.lists(st.floats(0.3, 1.0), min_size=8, max_size=30)


def weeks(values: list[float]) -> list[Period]:
    return [Period(1000, 1000 * value) for value in values]


def test_median_and_spread_of_a_published_sample() -> None:
    # Rousseeuw and Croux 1993, section 1: of 6.27, 6.34, 6.25, 63.1, 6.28 the median is 6.28 and
    # 1.4826 times the median of 0.01, 0.06, 0.03, 56.82, 0 is 0.044.
    found = calibrate_recovery([Period(1, value) for value in (6.27, 6.34, 6.25, 63.1, 6.28)])
    assert found is not None
    assert (found.frac, found.n) == (6.28, 5)
    assert found.spread_frac == pytest.approx(0.044, abs=5e-4)


def test_three_weeks_tell_nothing() -> None:
    assert calibrate_recovery(weeks([0.7, 0.8, 0.75])) is None


def test_equal_weeks_have_no_spread() -> None:
    found = calibrate_recovery(weeks([0.7] * 6))
    assert found is not None
    assert (found.spread_frac, found.sd_frac) == (0, 0)


@given(shares, st.floats(0, 50))
def test_a_few_wild_weeks_change_little(values: list[float], wild: float) -> None:
    found = calibrate_recovery(weeks([*values, wild]))
    assert found is not None
    assert min(values) <= found.frac <= max(values)


@given(shares, st.floats(0.1, 1000))
def test_the_size_of_the_farm_does_not_count(values: list[float], factor: float) -> None:
    small = calibrate_recovery(weeks(values))
    large = calibrate_recovery([Period(1000 * factor, 1000 * factor * v) for v in values])
    assert small is not None
    assert large is not None
    assert large.frac == pytest.approx(small.frac)
    assert large.sd_frac == pytest.approx(small.sd_frac, abs=1e-9)


def test_masses_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="bedded_kg must be > 0"):
        Period(0, 1)
    with pytest.raises(ValueError, match="recovered_kg must be 0 or more"):
        Period(1, -1)
