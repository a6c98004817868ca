"""Shifts and rest against clock tables, hand counts and an hour-by-hour oracle."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crews.roster.calc.shifts import (
    Leave,
    RestCode,
    Rotation,
    Shift,
    ShiftPattern,
    present_at,
    refuse_overlaps,
    rest_faults,
    shifts_between,
)
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

DENVER = ZoneInfo("America/Denver")
NIGHT = ShiftPattern("night", time(22), 480)
DAY = ShiftPattern("day", time(6), 480)
MONDAY = date(2026, 6, 1)
SIX_AM = parse_instant("2026-06-01T06:00-06:00")


def every_day(worker: str, pattern: ShiftPattern) -> Rotation:
    return Rotation(worker, pattern, 1, 0, MONDAY)


def shift(worker: str, start_h: float, end_h: float) -> Shift:
    start, end = (SIX_AM + timedelta(hours=h) for h in (start_h, end_h))
    return Shift(worker, "day", MONDAY, start, end)


@pytest.mark.parametrize(
    ("night", "hours_h"),
    # America/Denver, IANA time zone database 2026f: clocks change on 8 March and 1 November 2026,
    # on 14 March and 7 November 2027, at 02:00 local
    [
        (date(2026, 3, 7), 7.0),
        (date(2026, 3, 8), 8.0),
        (date(2026, 10, 31), 9.0),
        (date(2026, 11, 1), 8.0),
        (date(2027, 3, 13), 7.0),
        (date(2027, 11, 6), 9.0),
    ],
)
def test_the_night_shift_takes_the_hours_that_the_clock_leaves_it(
    night: date, hours_h: float
) -> None:
    (found,) = shifts_between(
        [every_day("ana", NIGHT)], [], night, night + timedelta(days=1), DENVER
    )
    assert found.hours_h == hours_h
    assert found.local_date == night
    assert found.end.astimezone(DENVER).time() == time(6)


def test_four_on_two_off_repeats_from_its_anchor_both_ways() -> None:
    # counted by hand on a calendar: on 1-4 June, off 5-6, on 7-10, off 11-12; before: off 30-31 May
    rotation = Rotation("ana", DAY, 4, 2, MONDAY)
    shifts = shifts_between([rotation], [], date(2026, 5, 30), date(2026, 6, 13), DENVER)
    assert [s.local_date.day for s in shifts] == [1, 2, 3, 4, 7, 8, 9, 10]


@given(st.integers(1, 10), st.integers(0, 6), st.dates(date(2025, 1, 1), date(2027, 1, 1)))
def test_any_whole_turn_holds_exactly_the_days_on(on: int, off: int, first: date) -> None:
    rotation = Rotation("ana", DAY, on, off, MONDAY)
    assert sum(rotation.works_on(first + timedelta(days=n)) for n in range(on + off)) == on


def test_leave_takes_out_the_shifts_that_start_in_it() -> None:
    leave = Leave("ana", date(2026, 6, 2), date(2026, 6, 4))
    workers = [every_day("ana", NIGHT), every_day("ben", NIGHT)]
    shifts = shifts_between(workers, [leave], MONDAY, date(2026, 6, 5), DENVER)
    assert [s.local_date.day for s in shifts if s.worker == "ana"] == [1, 4]
    assert [s.local_date.day for s in shifts if s.worker == "ben"] == [1, 2, 3, 4]


def test_a_worker_on_two_shifts_at_once_is_refused() -> None:
    late = ShiftPattern("late", time(13, 59), 480)
    with pytest.raises(RefusedValueError) as refused:
        shifts_between(
            [every_day("ana", DAY), every_day("ana", late)], [], MONDAY, date(2026, 6, 2), DENVER
        )
    assert (refused.value.code, refused.value.part) == ("overlap", "ana.shift")


def test_shifts_that_only_touch_and_shifts_of_two_people_do_not_overlap() -> None:
    refuse_overlaps([shift("ana", 0, 8), shift("ana", 8, 12), shift("ben", 4, 12)])


@given(
    st.lists(
        st.tuples(st.sampled_from(["ana", "ben"]), st.integers(0, 40), st.integers(1, 12)),
        max_size=8,
    )
)
def test_overlaps_are_found_exactly_when_some_hour_is_worked_twice(
    spans: list[tuple[str, int, int]],
) -> None:
    hours = [(who, hour) for who, start, n in spans for hour in range(start, start + n)]
    shifts = [shift(who, start, start + n) for who, start, n in spans]
    is_refused = False
    try:
        refuse_overlaps(shifts)
    except RefusedValueError:
        is_refused = True
    assert is_refused == (len(hours) != len(set(hours)))


@pytest.mark.parametrize(
    ("rest_h", "expected"),
    # common practice, no source: 11 h wanted, under 10 h a warning
    [
        (11.0, []),
        (10.5, [RestCode.BELOW_WANTED]),
        (10.0, [RestCode.BELOW_WANTED]),
        (9.75, [RestCode.TOO_SHORT]),
        (0.0, [RestCode.TOO_SHORT]),
    ],
)
def test_a_short_rest_is_told_by_how_short_it_is(rest_h: float, expected: list[RestCode]) -> None:
    faults = rest_faults([shift("ana", 8 + rest_h, 20 + rest_h), shift("ana", 0, 8)])
    assert [fault.code for fault in faults] == expected
    assert [fault.rest_h for fault in faults] == [rest_h] * len(expected)


def test_the_rest_of_the_spring_night_is_an_hour_shorter_than_the_clock_says() -> None:
    # 20:00 to 07:00 is 11 h by the clock; on the night to 8 March 2026 it is 10 h
    pattern = ShiftPattern("long", time(7), 13 * 60)
    shifts = shifts_between(
        [every_day("ana", pattern)], [], date(2026, 3, 6), date(2026, 3, 9), DENVER
    )
    assert [(f.later.local_date.day, f.rest_h) for f in rest_faults(shifts)] == [(8, 10.0)]


def test_who_starts_at_the_instant_is_here_and_who_ends_at_it_is_gone() -> None:
    shifts = [shift("ana", 0, 8), shift("ben", 8, 16)]
    at_change = SIX_AM + timedelta(hours=8)
    assert [s.worker for s in present_at(shifts, at_change)] == ["ben"]
    assert [s.worker for s in present_at(shifts, at_change - timedelta(seconds=1))] == ["ana"]
    assert present_at(shifts, SIX_AM - timedelta(seconds=1)) == []


@pytest.mark.parametrize("duration_min", [0, -5, 1441])
def test_a_shift_of_impossible_length_is_refused(duration_min: int) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        ShiftPattern("day", time(6), duration_min)


def test_a_start_with_an_offset_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="has_offset"):
        ShiftPattern("day", time(6, tzinfo=UTC), 480)


@pytest.mark.parametrize(("on", "off"), [(0, 2), (-1, 2), (3, -1)])
def test_a_rotation_without_a_day_on_is_refused(on: int, off: int) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        Rotation("ana", DAY, on, off, MONDAY)


def test_a_shift_without_length_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="not_positive"):
        Shift("ana", "day", MONDAY, SIX_AM, SIX_AM)


def test_a_shift_without_offset_is_refused() -> None:
    naive = datetime.fromisoformat("2026-06-01T06:00")
    with pytest.raises(RefusedValueError, match="no_offset"):
        Shift("ana", "day", MONDAY, naive, naive + timedelta(hours=8))
