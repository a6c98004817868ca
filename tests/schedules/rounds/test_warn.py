"""What does not fit in a day, as codes and numbers."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc import (
    BedGroup,
    DayWarning,
    FeedRailLock,
    GateHeld,
    InnerGate,
    ParlorDay,
    PenAtParlor,
    VisitFacts,
    WarningCode,
    WindowRules,
    find_warnings,
    retime,
    time_day,
)
from tests.schedules.rounds.builders import FOUR_AM, build_day, build_pen, later

AWAY_LIMIT_MIN = 60.0


def warnings_of(
    *pens: PenAtParlor, away_limit_min: float = AWAY_LIMIT_MIN, **work_min: float
) -> tuple[DayWarning, ...]:
    return find_warnings(
        time_day(build_day(*pens)),
        away_limit_min=away_limit_min,
        bed_work_min={(1, row): minutes for row, minutes in work_min.items()},
    )


def test_a_pen_within_all_limits_gives_no_warning() -> None:
    pen = build_pen(returns=GateHeld(20))
    assert warnings_of(pen, near=8, far=8) == ()


def test_a_pen_away_too_long_is_named_with_its_minutes() -> None:
    # 340 cows at 450 an hour: 45.33 + 8 + 2 x 3.64 = 60.6 min. "Over 1 h per milking at three
    # milkings is too long": Harner, Kansas State, agproud.com/articles/27154.
    (warning,) = warnings_of(build_pen(n_cows=340))
    assert warning.code is WarningCode.TIME_AWAY_OVER_LIMIT
    assert (warning.slot, warning.pen_key, warning.limit_min) == (1, "a", 60)
    assert warning.value_min == pytest.approx(60.6, abs=0.05)


def test_a_pen_away_too_long_in_all_is_named_once() -> None:
    # Three milkings of 55.3 min, worked in test_day: 165.8 min, of the 2.5 to 3 h that are left of
    # a cow's day for milking (Cornell Extension, hoards.com/article-28392).
    starts = tuple(later(FOUR_AM, minutes) for minutes in (0, 480, 960))
    clock = time_day(build_day(build_pen(), starts=starts))
    assert find_warnings(clock, away_limit_min=60, away_day_limit_min=180) == ()
    (warning,) = find_warnings(clock, away_limit_min=60, away_day_limit_min=150)
    assert warning.code is WarningCode.TIME_AWAY_IN_DAY_OVER_LIMIT
    assert (warning.slot, warning.pen_key, warning.limit_min) == (None, "a", 150)
    assert warning.value_min == pytest.approx(165.8, abs=0.1)


def test_a_pen_away_for_just_the_limit_gives_no_warning() -> None:
    clock = time_day(build_day(build_pen()))
    away_min = clock.visits[0].away.length_min
    assert find_warnings(clock, away_limit_min=away_min) == ()


def test_a_window_shorter_than_its_fixed_steps_is_named_row_by_row() -> None:
    # 11.3 min bare less 5 + 5 + 2 + 3 + 6 min = -9.7 min: nothing can be groomed.
    warnings = warnings_of(build_pen(rules=WindowRules(flush_min=6)), near=15, far=15)
    assert [(w.code, w.bed_group_key) for w in warnings] == [
        (WarningCode.WINDOW_EMPTY, "near"),
        (WarningCode.WINDOW_EMPTY, "far"),
    ]
    assert warnings[0].value_min == pytest.approx(-9.7, abs=0.05)
    assert warnings[0].limit_min == 0


def test_a_row_whose_work_is_longer_than_its_room_is_named_with_both_lengths() -> None:
    # Worked by hand from common practice, no source: 150 stalls at 0.25 min by hand, 2 people, and
    # 5 min to come in and pull out: 23.75 min, in a bare window of 11.3 + 10 min.
    pen = build_pen(returns=GateHeld(10))
    (warning,) = warnings_of(pen, near=5 + 150 * 0.25 / 2, far=5 + 150 * 0.25 / 4)
    assert warning.code is WarningCode.BEDS_CANNOT_BE_FINISHED
    assert (warning.slot, warning.pen_key, warning.bed_group_key) == (1, "a", "near")
    assert warning.value_min == pytest.approx(23.75)
    assert warning.limit_min == pytest.approx(21.3, abs=0.05)


def test_each_row_is_held_against_its_own_room() -> None:
    # The near row has 11.3 min, the far one behind the feed-rail lock 41.3.
    pen = build_pen(
        returns=FeedRailLock(30), bed_groups=(BedGroup("near", 120), BedGroup("far", 120, True))
    )
    assert [w.bed_group_key for w in warnings_of(pen, near=30, far=30)] == ["near"]
    assert [w.bed_group_key for w in warnings_of(pen, near=45, far=45)] == ["near", "far"]


def test_a_row_without_any_room_is_named_for_that_alone() -> None:
    # The first row closes at 11.3 min, before 13 min of buffers; the second at 41.3.
    rules = WindowRules(flush_min=0, open_min=5, close_min=5, lock_min=2, release_min=1)
    rows = (BedGroup("one", 400), BedGroup("two", 150))
    pen = build_pen(returns=InnerGate(30), rules=rules, bed_groups=rows)
    (warning,) = warnings_of(pen, one=25, two=12)
    assert (warning.code, warning.bed_group_key) == (WarningCode.WINDOW_EMPTY, "one")


@given(st.floats(0, 200), st.floats(0, 200))
def test_more_minutes_of_work_never_take_a_warning_away(near_min: float, more_min: float) -> None:
    pen = build_pen(returns=GateHeld(10))
    few = {(w.code, w.bed_group_key) for w in warnings_of(pen, near=near_min)}
    many = {(w.code, w.bed_group_key) for w in warnings_of(pen, near=near_min + more_min)}
    assert few <= many


def crowded_day(start_step_min: float, n_milkings: int = 3) -> ParlorDay:
    # One milking and its wash take 40 + 8 + 45 = 93 min.
    starts = tuple(later(FOUR_AM, n * start_step_min) for n in range(n_milkings))
    return build_day(build_pen(), starts=starts)


def closing_of(day: ParlorDay) -> list[tuple[int | None, float, float]]:
    warnings = find_warnings(time_day(day), away_limit_min=60)
    assert {warning.code for warning in warnings} <= {WarningCode.DAY_DOES_NOT_CLOSE}
    return [(warning.slot, warning.value_min, warning.limit_min) for warning in warnings]


def test_a_wash_that_ends_as_the_next_milking_starts_is_in_time() -> None:
    assert closing_of(crowded_day(93)) == []


def test_milkings_that_start_before_the_wash_ends_are_named() -> None:
    # Each runs 3 min over; the second starts 3 min late and ends 6 min over its successor.
    assert closing_of(crowded_day(90)) == [(1, 93, 90), (2, 96, 90)]


def test_a_last_wash_that_runs_into_the_next_day_is_named() -> None:
    day = replace(crowded_day(400), next_day_starts_at=later(FOUR_AM, 890))
    assert closing_of(day) == [(3, 93, 90)]


def test_milkings_longer_than_the_day_are_named() -> None:
    # 16 milkings x 93 min = 1,488 min in a day of 1,440.
    assert closing_of(crowded_day(93, n_milkings=16)) == [(None, 1488, 1440)]


@pytest.mark.parametrize(
    ("next_day_h", "n_expected"),
    # 15 milkings x 93 min = 1,395 min. The night of the spring gap makes a day of 23 h = 1,380
    # min (tzdata, America/Denver, 2026-03-08), too short by the sum and by the last wash.
    [(24, 0), (23, 2)],
)
def test_a_day_of_23_hours_closes_less_easily(next_day_h: int, n_expected: int) -> None:
    day = replace(
        crowded_day(93, n_milkings=15), next_day_starts_at=later(FOUR_AM, next_day_h * 60)
    )
    assert len(closing_of(day)) == n_expected


def test_a_late_milking_warns_that_the_next_one_is_pushed() -> None:
    clock = retime(
        time_day(crowded_day(100, n_milkings=2)),
        {(1, "a"): VisitFacts(first_on_at=later(FOUR_AM, 30))},
    )
    (warning,) = find_warnings(clock, away_limit_min=60)
    assert (warning.slot, warning.value_min, warning.limit_min) == (1, 123, 100)
