"""Uncertain dates: quantiles, counts, and the way from dry to ready."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.dates import BEYOND, DateDistribution, PileRule, ready_dates
from tests.schedules.sand.shares import share_by

MAY_1 = date(2026, 5, 1)


def dates_of(offsets: list[int], weights: list[float] | None = None) -> DateDistribution:
    weight = np.array(weights or [1.0] * len(offsets))
    return DateDistribution(MAY_1, np.array(offsets), weight / weight.sum())


def test_the_share_of_twenty_equal_members_is_counted() -> None:
    dist = dates_of([3] * 5 + [4] * 10 + [9] * 5)
    assert share_by(dist, date(2026, 5, 3)) == 0
    assert share_by(dist, date(2026, 5, 5)) == pytest.approx(0.75)
    assert share_by(dist, date(2026, 5, 10)) == pytest.approx(1)


def test_quantiles_step_through_the_weights() -> None:
    dist = dates_of([2, 5, 7], [1, 2, 1])
    assert dist.quantile(0.25) == date(2026, 5, 3)
    assert dist.quantile(0.26) == date(2026, 5, 6)
    assert dist.quantile(0.75) == date(2026, 5, 6)
    assert dist.quantile(1.0) == date(2026, 5, 8)


def test_what_lies_past_the_horizon_comes_last_and_has_no_date() -> None:
    dist = dates_of([BEYOND, 4, BEYOND, 2])
    assert dist.weight[dist.offset_d == BEYOND].sum() == 0.5
    assert dist.quantile(0.5) == date(2026, 5, 5)
    assert dist.quantile(0.51) is None
    assert dist.dots(4) == (date(2026, 5, 3), date(2026, 5, 5), None, None)
    assert share_by(dist, date(2030, 1, 1)) == 0.5


@given(
    pairs=st.lists(st.tuples(st.integers(-1, 40), st.floats(0.01, 5)), min_size=1, max_size=30),
    q=st.floats(0.01, 1),
)
def test_a_quantile_is_the_first_date_with_its_share(
    pairs: list[tuple[int, float]], q: float
) -> None:
    offsets, weights = (list(column) for column in zip(*pairs, strict=True))
    dist = dates_of(offsets, weights)
    found = dist.quantile(q)
    if found is None:
        assert share_by(dist, date(2030, 1, 1)) < q + 1e-9
    else:
        assert share_by(dist, found) >= q - 1e-9
        assert share_by(dist, date.fromordinal(found.toordinal() - 1)) < q + 1e-9


@given(offsets=st.lists(st.integers(0, 60), min_size=1, max_size=20))
def test_dots_are_in_order_and_none_is_later_than_the_last_date(offsets: list[int]) -> None:
    dots = [dot for dot in dates_of(offsets).dots(20) if dot is not None]
    assert dots == sorted(dots)
    assert len(dots) == 20
    assert (dots[-1] - MAY_1).days <= max(offsets)


def test_ready_follows_pick_up_close_and_cure() -> None:
    rule = PileRule(close_after_d=8, cure_d=60, pick_up_after_d=1)
    ready = ready_dates(dates_of([4, BEYOND]), rule)
    # dry 5 May, picked up 6 May, closed 14 May, cured 60 days: 13 July
    assert ready.quantile(0.5) == date(2026, 7, 13)
    assert ready.weight[ready.offset_d == BEYOND].sum() == 0.5


def test_an_open_pile_takes_what_comes_in_time_and_later_sand_begins_its_own() -> None:
    rule = PileRule(close_after_d=8, cure_d=60, pick_up_after_d=1)
    ready = ready_dates(dates_of([2, 6, 7]), rule, opened_on=date(2026, 4, 30))
    # the pile of 30 April closes on 8 May: picked up 4 and 8 May go onto it; 9 May begins another
    days = [ready.quantile(q) for q in (1 / 3, 2 / 3, 1.0)]
    assert days == [date(2026, 7, 7), date(2026, 7, 7), date(2026, 7, 16)]


@given(offsets=st.lists(st.integers(0, 60), min_size=1, max_size=9), opened_d=st.integers(-20, 0))
def test_ready_is_never_before_dry_pick_up_and_cure(offsets: list[int], opened_d: int) -> None:
    rule = PileRule(close_after_d=8, cure_d=60, pick_up_after_d=2)
    opened_on = date.fromordinal(MAY_1.toordinal() + opened_d)
    dry = dates_of(offsets)
    ready = ready_dates(dry, rule, opened_on=opened_on)
    assert (ready.offset_d >= dry.offset_d + 62).all()
    assert (ready.offset_d <= dry.offset_d + 70).all()


def test_distributions_and_rules_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        DateDistribution(MAY_1, np.array([1, 2]), np.array([1.0]))
    with pytest.raises(ValueError, match="before the origin"):
        dates_of([-2])
    with pytest.raises(ValueError, match="sum to 1"):
        DateDistribution(MAY_1, np.array([1, 2]), np.array([0.5, 0.4]))
    with pytest.raises(ValueError, match="q 0"):
        dates_of([1]).quantile(0)
    with pytest.raises(ValueError, match="pile rule"):
        PileRule(close_after_d=8, cure_d=-1)
