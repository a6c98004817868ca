"""Data that cannot be a parlor's day is refused, with the record named."""

from dataclasses import replace
from typing import Any

import pytest

from schedules.rounds.calc import BedGroup, Milking, ParlorDay
from tests.schedules.rounds.builders import FOUR_AM, PARLOR, build_day, build_pen, later


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"n_cows": 0}, "pen a: n_cows must be at least 1, got 0"),
        ({"walk_m": -1}, "pen a: walk_m must be 0 or more, got -1"),
        ({"walk_speed_m_min": 0}, "pen a: walk_speed_m_min must be > 0, got 0"),
        ({"clear_min": -1}, "pen a: clear_min must be 0 or more minutes, got -1"),
        ({"lead_min": float("nan")}, "pen a: lead_min must be 0 or more minutes, got nan"),
        ({"holding_wait_min": -1}, "pen a: holding_wait_min must be 0 or more minutes, got -1"),
        ({"bed_groups": (BedGroup("r", 1), BedGroup("r", 2))}, "pen a: a key stands twice"),
    ],
)
def test_a_pen_that_cannot_be_is_refused(change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(build_pen(), **change)


def test_a_milking_without_pens_is_refused() -> None:
    with pytest.raises(ValueError, match="milking 1: at least one pen is needed"):
        Milking(1, FOUR_AM, ())


def test_a_pen_milked_twice_in_a_milking_is_refused() -> None:
    with pytest.raises(ValueError, match="milking 1: a key stands twice"):
        Milking(1, FOUR_AM, (build_pen(), build_pen()))


def test_a_day_without_milkings_is_refused() -> None:
    with pytest.raises(ValueError, match="parlor day: at least one milking is needed"):
        ParlorDay(PARLOR, (), wash_min=45)


def test_two_milkings_in_one_slot_are_refused() -> None:
    pens = (build_pen(),)
    milkings = (Milking(1, FOUR_AM, pens), Milking(1, later(FOUR_AM, 480), pens))
    with pytest.raises(ValueError, match="parlor day: a key stands twice"):
        ParlorDay(PARLOR, milkings, wash_min=45)


@pytest.mark.parametrize("step_min", [0, -480])
def test_milkings_out_of_order_are_refused(step_min: float) -> None:
    with pytest.raises(ValueError, match="milkings must be given by their starts"):
        build_day(build_pen(), starts=(FOUR_AM, later(FOUR_AM, step_min)))


def test_a_next_day_before_the_last_milking_is_refused() -> None:
    with pytest.raises(ValueError, match="milkings must be given by their starts"):
        replace(build_day(build_pen()), next_day_starts_at=FOUR_AM)


def test_a_negative_wash_is_refused() -> None:
    with pytest.raises(ValueError, match="parlor day: wash_min must be 0 or more"):
        build_day(build_pen(), wash_min=-1)
