"""Stops on time and past a service: published conjugate figures, and hours counted by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.risk import (
    StopRate,
    StopRecord,
    learned_rate,
    overrun_spans_h,
    rate_range,
    stop_chance_frac,
    stop_record,
    times_as_often,
)
from equipment.site.calc.refusal import RefusedValueError


def test_stops_and_hours_add_to_the_belief() -> None:
    # A. Gelman et al., "Bayesian Data Analysis", 3rd ed., section 2.6 (from memory): 3 deaths in
    # 2.0 units of exposure on a Gamma(3.0, 5.0) give Gamma(6.0, 7.0), mean 0.86
    found = learned_rate(StopRate(3.0, 5.0), 3, 2.0)
    assert found == StopRate(6.0, 7.0)
    assert found.mean_h == pytest.approx(0.86, abs=0.005)


def test_a_published_rate_has_its_published_range() -> None:
    # J. Albert, "Introduction to Bayesian Thinking", home runs: Gamma with shape 58 and rate 581,
    # 5 and 95 per cent points (0.0790, 0.1217) by simulation of 1,000 draws
    assert rate_range(StopRate(58, 581), 0.05, 0.95) == pytest.approx((0.0790, 0.1217), abs=0.001)


def test_the_chance_is_the_negative_binomials() -> None:
    # by hand: one stop believed in 100 h, 100 h to come: 1 - (100 / 200)^1 = 0.5
    assert stop_chance_frac(StopRate(1, 100), 100) == pytest.approx(0.5)
    assert stop_chance_frac(StopRate(1, 100), 0) == 0
    # numpy's own draws: a gamma rate, then a Poisson count
    rng = np.random.default_rng(1)
    rates = rng.gamma(3, 1 / 900, 200_000)
    drawn = (rng.poisson(rates * 250) > 0).mean()
    assert stop_chance_frac(StopRate(3, 900), 250) == pytest.approx(drawn, abs=0.005)


def test_the_ratio_is_that_of_drawn_rates() -> None:
    rng = np.random.default_rng(2)
    over, on_time = StopRate(4, 500), StopRate(9, 4_000)
    drawn = rng.gamma(4, 1 / 500, 400_000) / rng.gamma(9, 1 / 4_000, 400_000)
    assert times_as_often(over, on_time) == pytest.approx(np.quantile(drawn, [0.1, 0.9]), rel=0.02)


def test_hours_past_the_mark_by_hand() -> None:
    # every 250 h; done at 1,000, 1,280 and 1,500; now 1,800: past 1,250 to 1,280 and 1,750 to 1,800
    spans = overrun_spans_h([1_500, 1_000, 1_280], 900, 250, 1_800)
    assert spans == [(1_250, 1_280), (1_750, 1_800)]
    record = stop_record([*spans, (1_270, 1_300)], [950, 1_260, 1_295, 1_600, 800], 900, 1_800)
    assert record == StopRecord(on_time_h=800, over_h=100, n_on_time=2, n_over=2)
    assert record + record == StopRecord(1_600, 200, 4, 4)


def test_without_a_service_on_record_nothing_is_known_to_be_late() -> None:
    assert overrun_spans_h([], 900, 250, 1_800) == []


@given(st.lists(st.floats(0, 2_000), max_size=8), st.floats(10, 500))
def test_overruns_lie_within_the_record_and_apart(done_h: list[float], every_h: float) -> None:
    spans = overrun_spans_h(done_h, 0, every_h, 2_000)
    edges = [edge for span in spans for edge in span]
    assert edges == sorted(edges)
    record = stop_record(spans, done_h, 0, 2_000)
    assert record.on_time_h + record.over_h == pytest.approx(2_000)
    assert record.on_time_h >= -1e-9
    assert record.n_on_time + record.n_over == len(done_h)


@given(st.floats(0.1, 50), st.floats(1, 5_000), st.floats(0, 1_000), st.floats(0, 1_000))
def test_more_hours_to_run_are_never_safer(
    shape: float, per_h: float, run_h: float, more_h: float
) -> None:
    rate = StopRate(shape, per_h)
    assert 0 <= stop_chance_frac(rate, run_h) <= stop_chance_frac(rate, run_h + more_h) <= 1


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(RefusedValueError, match="shape"):
        StopRate(0, 10)
    with pytest.raises(RefusedValueError, match="per_h"):
        StopRate(1, float("inf"))
    with pytest.raises(RefusedValueError, match="n_stops"):
        learned_rate(StopRate(1, 1), -1, 0)
    with pytest.raises(RefusedValueError, match="run_h"):
        learned_rate(StopRate(1, 1), 0, float("nan"))
    with pytest.raises(RefusedValueError, match="run_h"):
        stop_chance_frac(StopRate(1, 1), -1)
