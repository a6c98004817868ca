"""Windows cut from the time in which a pen is empty."""

import math
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc import BedGroup, Window, WindowRules
from schedules.rounds.calc.windows import cut_bed_window, require_utc, whole_second
from tests.schedules.rounds.builders import FOUR_AM, NO_RULES, later, window_rules

ROW = BedGroup("row", 100)


def test_buffers_and_steps_are_cut_from_both_ends() -> None:
    # 40 min less 5 + 5 of buffers is 30; less 2 to lock, 6 to flush, 3 to release is 19.
    rules = WindowRules(flush_min=6)
    bed = cut_bed_window(ROW, opens_at=FOUR_AM, closes_at=later(FOUR_AM, 40), rules=rules)
    assert bed.usable == Window(later(FOUR_AM, 5), later(FOUR_AM, 35))
    assert bed.groom == Window(later(FOUR_AM, 7), later(FOUR_AM, 26))
    assert bed.groom_min == 19


def test_the_room_for_grooming_says_how_many_minutes_are_short() -> None:
    rules = WindowRules(flush_min=6)
    bed = cut_bed_window(ROW, opens_at=FOUR_AM, closes_at=later(FOUR_AM, 11), rules=rules)
    assert bed.usable.length_min == 1
    assert bed.groom.length_min == 0
    assert bed.groom_min == 11 - 21


def test_a_window_shorter_than_its_buffers_is_empty() -> None:
    rules = WindowRules(flush_min=0)
    bed = cut_bed_window(ROW, opens_at=FOUR_AM, closes_at=later(FOUR_AM, 3), rules=rules)
    assert bed.usable.length_min == 0
    assert bed.opens_at <= bed.usable.start_at <= bed.closes_at


def test_a_row_to_which_cows_return_before_the_last_is_out_never_opens() -> None:
    bed = cut_bed_window(ROW, opens_at=FOUR_AM, closes_at=later(FOUR_AM, -2), rules=NO_RULES)
    assert bed.opens_at == bed.closes_at == FOUR_AM


def test_a_window_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="before it starts"):
        Window(FOUR_AM, later(FOUR_AM, -1))


@pytest.mark.parametrize("value_min", [-1, math.nan, math.inf])
def test_a_step_of_no_possible_length_is_refused(value_min: float) -> None:
    with pytest.raises(ValueError, match="window rules: flush_min must be 0 or more"):
        WindowRules(flush_min=value_min)


@pytest.mark.parametrize(
    "at",
    [datetime(2026, 3, 3, 4), datetime(2026, 3, 3, 4, tzinfo=timezone(timedelta(hours=-7)))],  # noqa: DTZ001 - what must be refused
)
def test_a_naive_or_local_instant_is_refused(at: datetime) -> None:
    with pytest.raises(ValueError, match="must be an aware instant in UTC"):
        require_utc("visit", called_at=at)


@given(st.integers(-(10**9), 10**9), st.integers(0, 10**7))
def test_rounding_to_a_second_keeps_the_order_and_moves_by_half_a_second_at_most(
    offset_us: int, more_us: int
) -> None:
    first = FOUR_AM + timedelta(microseconds=offset_us)
    second = first + timedelta(microseconds=more_us)
    assert whole_second(first) <= whole_second(second)
    assert abs(whole_second(first) - first) <= timedelta(milliseconds=500)
    assert whole_second(whole_second(first)) == whole_second(first)


@given(window_rules, st.integers(-30, 120))
def test_each_window_lies_inside_the_one_before(rules: WindowRules, length_min: int) -> None:
    bed = cut_bed_window(ROW, opens_at=FOUR_AM, closes_at=later(FOUR_AM, length_min), rules=rules)
    assert (
        bed.opens_at
        <= bed.usable.start_at
        <= bed.groom.start_at
        <= bed.groom.end_at
        <= bed.usable.end_at
        <= bed.closes_at
    )
