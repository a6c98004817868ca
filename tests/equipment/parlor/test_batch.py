"""A parlor of sides: groups enter, are milked and leave together."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.parlor.calc import BatchParlor


def test_a_double_twenty_turns_four_and_a_half_times() -> None:
    # "Turns per hour" times stalls is the trade's usual arithmetic; common practice, no source.
    # 2 x 20 stalls x 60 / 13.333 = 180 cows an hour.
    assert BatchParlor(20, 2, 60 / 4.5).cows_per_h == pytest.approx(180)


def test_a_part_filled_last_group_takes_a_whole_turn_of_a_side() -> None:
    # 101 cows = 6 groups of 20; a group every 12 / 2 = 6 min: 36 min, by hand.
    parlor = BatchParlor(20, 2, 12)
    assert parlor.entry_min(101) == pytest.approx(36)
    # The sixth group enters at 30 min and leaves 12 min later.
    assert parlor.milking_min(101) == pytest.approx(42)


def test_empty_stalls_make_smaller_groups() -> None:
    # 20 x 0.9 = 18 a group: 36 cows are two groups, 37 are three.
    parlor = BatchParlor(20, 1, 10, empty_frac=0.1)
    assert parlor.entry_min(36) == pytest.approx(20)
    assert parlor.entry_min(37) == pytest.approx(30)


def test_no_cows_need_no_time() -> None:
    assert BatchParlor(20, 2, 12).milking_min(0) == 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"n_stalls": 0}, "n_stalls must be at least 1"),
        ({"n_sides": 0}, "n_sides must be at least 1"),
        ({"turn_min": 0}, "turn_min must be > 0"),
        ({"turn_min": math.nan}, "turn_min must be > 0"),
        ({"empty_frac": 1}, "empty_frac must be in"),
    ],
)
def test_a_parlor_that_cannot_be_is_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        BatchParlor(**{"n_stalls": 20, "n_sides": 2, "turn_min": 12, **change})


def test_a_negative_number_of_cows_is_refused() -> None:
    with pytest.raises(ValueError, match="n_cows must not be negative"):
        BatchParlor(20, 2, 12).entry_min(-1)


@given(st.integers(1, 40), st.integers(1, 4), st.floats(5, 30), st.integers(1, 2000))
def test_groups_are_never_faster_than_full_groups(
    n_stalls: int, n_sides: int, turn_min: float, n_cows: int
) -> None:
    parlor = BatchParlor(n_stalls, n_sides, turn_min)
    assert parlor.entry_min(n_cows) >= n_cows / parlor.cows_per_h * 60 * (1 - 1e-9)
    assert parlor.entry_min(n_cows) <= parlor.entry_min(n_cows + 1)
