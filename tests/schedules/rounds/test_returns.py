"""What each return mode wins for the beds and takes from the cows.

The modes are common practice without a published figure; what is checked is plain geometry:
the area between a line (cows coming back evenly) and a step (the gate).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc import (
    BedGroup,
    FeedRailLock,
    GateHeld,
    InnerGate,
    ReturnMode,
    ReturnRule,
    SparePen,
    StraightBack,
    build_return_rule,
    price_return,
)
from tests.schedules.rounds.builders import TWO_ROWS, bed_group_lists, return_rules


def test_straight_back_wins_and_costs_nothing() -> None:
    cost = price_return(StraightBack(), n_cows=300, spread_min=40, bed_groups=TWO_ROWS)
    assert (cost.mean_min, cost.worst_min, cost.cow_h) == (0, 0, 0)
    assert StraightBack().closes_after_min(TWO_ROWS) == (0, 0)


def test_gate_held_for_a_part_of_the_spread_costs_a_triangle() -> None:
    # h = 20 of s = 40 min: mean h²/2s = 5 min, worst 20 min, 300 x 5 / 60 = 25 cow-hours.
    cost = price_return(GateHeld(20), n_cows=300, spread_min=40, bed_groups=TWO_ROWS)
    assert cost.mean_min == pytest.approx(5, rel=0.01)
    assert cost.worst_min == pytest.approx(20)
    assert cost.cow_h == pytest.approx(25, rel=0.01)


def test_gate_held_beyond_the_last_cow_costs_every_cow() -> None:
    # h = 60 of s = 40 min: mean h - s/2 = 40 min; the even spread makes this exact.
    cost = price_return(GateHeld(60), n_cows=300, spread_min=40, bed_groups=TWO_ROWS)
    assert cost.mean_min == pytest.approx(40)
    assert cost.cow_h == pytest.approx(200)


def test_feed_rail_lock_keeps_far_rows_only_and_costs_like_a_gate() -> None:
    lock = FeedRailLock(20)
    assert lock.closes_after_min(TWO_ROWS) == (0, 20)
    assert price_return(lock, n_cows=300, spread_min=40, bed_groups=TWO_ROWS) == price_return(
        GateHeld(20), n_cows=300, spread_min=40, bed_groups=TWO_ROWS
    )


def test_spare_pen_costs_one_move_for_cows_that_had_settled_there() -> None:
    # Cows come over 40 min and go home after 20: half of them had settled.
    rule = SparePen(home_after_min=20, move_min=6)
    cost = price_return(rule, n_cows=300, spread_min=40, bed_groups=TWO_ROWS)
    assert rule.closes_after_min(TWO_ROWS) == (20, 20)
    assert cost.mean_min == pytest.approx(3, rel=0.01)
    assert cost.worst_min == 6


def test_spare_pen_costs_nothing_where_cows_stay() -> None:
    rule = SparePen(home_after_min=400, move_min=0)
    assert price_return(rule, n_cows=300, spread_min=40, bed_groups=TWO_ROWS).cow_h == 0


def test_inner_gate_that_keeps_pace_with_the_cows_costs_nothing() -> None:
    # 100 stalls a row, 200 cows over 40 min: row two is needed at minute 20 and opens at 15.
    rows = (BedGroup("one", 100), BedGroup("two", 100))
    cost = price_return(InnerGate(15), n_cows=200, spread_min=40, bed_groups=rows)
    assert cost.cow_h == 0


def test_inner_gate_that_lags_makes_the_later_cows_wait() -> None:
    # Row two opens at minute 30: cows 100..199 come evenly from minute 20 to 40, those before
    # minute 30 wait a triangle of 10 min: half the cows x half of them x 5 min mean = 1.25.
    rows = (BedGroup("one", 100), BedGroup("two", 100))
    rule = InnerGate(30)
    cost = price_return(rule, n_cows=200, spread_min=40, bed_groups=rows)
    assert rule.closes_after_min(rows) == (0, 30)
    assert cost.worst_min == pytest.approx(10, rel=0.02)
    assert cost.mean_min == pytest.approx(1.25, rel=0.02)


def test_cows_without_any_stall_wait_for_the_last_row_only() -> None:
    rows = (BedGroup("one", 10), BedGroup("two", 10))
    waits_min = InnerGate(30).waits_min(np.zeros(25), rows)
    assert waits_min.tolist() == [0] * 10 + [30] * 15


def test_inner_gate_in_a_pen_without_beds_costs_nothing() -> None:
    assert price_return(InnerGate(30), n_cows=5, spread_min=4, bed_groups=()).cow_h == 0


def test_each_mode_has_its_rule() -> None:
    rules = {mode: build_return_rule(mode, hold_min=10, move_min=3) for mode in ReturnMode}
    assert {mode: rule.mode for mode, rule in rules.items()} == {mode: mode for mode in ReturnMode}
    assert rules[ReturnMode.SPARE_PEN] == SparePen(home_after_min=10, move_min=3)


@pytest.mark.parametrize("hold_min", [-1, math.inf, math.nan])
@pytest.mark.parametrize("mode", [mode for mode in ReturnMode if mode is not ReturnMode.NONE])
def test_a_time_that_is_none_is_refused(mode: ReturnMode, hold_min: float) -> None:
    with pytest.raises(ValueError, match="must be 0 or more minutes"):
        build_return_rule(mode, hold_min=hold_min)


def test_a_row_without_stalls_is_refused() -> None:
    with pytest.raises(ValueError, match="bed group r1: n_stalls must be at least 1"):
        BedGroup("r1", 0)


@given(return_rules, st.integers(1, 400), st.floats(0, 60), bed_group_lists)
def test_the_price_is_never_negative_and_never_worse_than_the_worst(
    rule: ReturnRule, n_cows: int, spread_min: float, bed_groups: tuple[BedGroup, ...]
) -> None:
    cost = price_return(rule, n_cows=n_cows, spread_min=spread_min, bed_groups=bed_groups)
    assert 0 <= cost.mean_min <= cost.worst_min + 1e-9
    assert cost.cow_h == pytest.approx(cost.mean_min * n_cows / 60)


@given(st.floats(0, 90), st.floats(0, 30), st.integers(1, 400), st.floats(0, 60))
def test_a_longer_hold_never_costs_less(
    hold_min: float, more_min: float, n_cows: int, spread_min: float
) -> None:
    short, long = (
        price_return(GateHeld(held), n_cows=n_cows, spread_min=spread_min, bed_groups=TWO_ROWS)
        for held in (hold_min, hold_min + more_min)
    )
    assert short.cow_h <= long.cow_h + 1e-9
