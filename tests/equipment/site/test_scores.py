"""Scores of ensembles: against their definition and the closed form for normal forecasts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from equipment.site.calc.scores import bias, crps, hit_share, rank_pit

VALUES = st.lists(st.floats(-50, 50), min_size=1, max_size=12)


@given(members=VALUES, truth=st.floats(-60, 60))
def test_crps_equals_the_integral_it_is_defined_by(members: list[float], truth: float) -> None:
    # the definition, Matheson and Winkler 1976: ∫ (F(x) - 1{x ≥ y})² dx, F a step function
    edges = np.unique([*members, truth])
    below = np.array([np.mean(np.array(members) <= x) for x in edges[:-1]])
    area = (np.diff(edges) * (below - (edges[:-1] >= truth)) ** 2).sum()
    assert crps(np.array(members), truth) == pytest.approx(area, abs=1e-9)


def test_crps_of_many_normal_members_nears_the_closed_form() -> None:
    # Gneiting and Raftery 2007, eq. 21: σ (z (2Φ(z) - 1) + 2φ(z) - 1/√π)
    mean, sd, truth = 3.0, 2.0, 4.5
    z = (truth - mean) / sd
    closed = sd * (z * (2 * norm.cdf(z) - 1) + 2 * norm.pdf(z) - 1 / np.sqrt(np.pi))
    members = norm.ppf((np.arange(20_000) + 0.5) / 20_000, mean, sd)
    assert crps(members, truth) == pytest.approx(closed, rel=1e-4)
    integral = quad(lambda x: (norm.cdf(x, mean, sd) - (x >= truth)) ** 2, -20, 26, points=[truth])
    assert closed == pytest.approx(integral[0], rel=1e-6)


def test_crps_of_one_member_is_the_absolute_error() -> None:
    assert crps(np.array([3.0]), 5.0) == 2.0
    assert crps(np.array([5.0, 5.0]), 5.0) == 0.0


@pytest.mark.parametrize("members", [[], [np.nan], [np.inf]])
def test_members_that_are_no_numbers_are_refused(members: list[float]) -> None:
    with pytest.raises(ValueError, match="members"):
        crps(np.array(members), 0.0)


def test_the_rank_of_a_truth_drawn_like_its_members_is_even() -> None:
    rng = np.random.default_rng(20261125)
    drawn = rng.integers(0, 4, size=(4_000, 12)).astype(float)  # whole days: mostly ties
    pits = np.array([rank_pit(row[1:], row[0], rng) for row in drawn])
    assert hit_share(pits) == pytest.approx(0.8, abs=4 * np.sqrt(0.8 * 0.2 / 4_000))
    assert pits.mean() == pytest.approx(0.5, abs=4 * np.sqrt(1 / 12 / 4_000))


@pytest.mark.parametrize("level", [0.0, 1.0, -0.2])
def test_a_level_that_is_no_range_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="level_frac"):
        hit_share(np.array([0.5]), level)


def test_no_forecast_has_no_share() -> None:
    with pytest.raises(ValueError, match="pits"):
        hit_share(np.array([]))
    with pytest.raises(ValueError, match="members"):
        rank_pit(np.array([]), 1.0, np.random.default_rng(1))


def test_bias_is_the_mean_error() -> None:
    assert bias(np.array([3.0, 8.0]), np.array([1.0, 9.0])) == 0.5  # (2 - 1) / 2
    for came in ([], [1.0]):
        with pytest.raises(ValueError, match="expected and came"):
            bias(np.array([1.0, 2.0])[: 2 * len(came)], np.array(came))
