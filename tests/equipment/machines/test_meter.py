"""Meter readings: what is asked about, and totals through slips and new meters.

The rules (a meter that falls, or that gains more than 24 h a day, is questioned; a new meter keeps
an offset) are common practice without a source; what they give is checked by hand and by search.
"""

from datetime import datetime, timedelta
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.meter import (
    MeterSeries,
    Question,
    Reading,
    may_accept,
    questions_about,
)
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

START = parse_instant("2026-11-01T06:00-06:00")
NOW = START + timedelta(days=10)


def reading(day: float, meter_h: float, *, is_new_meter: bool = False) -> Reading:
    return Reading(START + timedelta(days=day), meter_h, is_new_meter)


def series(*points: tuple[float, float]) -> MeterSeries:
    return MeterSeries(tuple(reading(*point) for point in points))


@pytest.mark.parametrize(
    ("day", "meter_h", "expected"),
    [
        (9, 250, ()),
        (9, 242, ()),  # the machine stood still
        (9, 241.9, (Question.BACKWARDS,)),
        (8 + 1 / 24, 243.1, ()),  # one hour passed, one tenth is rounding
        (8 + 1 / 24, 243.2, (Question.JUMP,)),
        (9, 266.1, ()),
        (9, 267, (Question.JUMP,)),
        (8, 242, (Question.DUPLICATE,)),
        (8, 244, (Question.DUPLICATE,)),
        (10.003, 250, ()),  # four minutes ahead: a phone's clock
        (10.01, 250, (Question.IN_FUTURE,)),
        (-31, 200, (Question.TOO_OLD,)),
        (-31, 230, (Question.TOO_OLD, Question.BACKWARDS)),
        (4, 225, ()),  # came in late, between two others
        (4, 219, (Question.BACKWARDS,)),
        (4, 243, (Question.BACKWARDS,)),
        (7.9, 221, (Question.JUMP,)),  # too little, so that the next one jumps
    ],
)
def test_an_odd_reading_is_questioned_by_what_is_odd(
    day: float, meter_h: float, expected: tuple[Question, ...]
) -> None:
    so_far = series((0, 210), (3, 220), (8, 242))
    assert questions_about(so_far, reading(day, meter_h), NOW) == expected


def test_the_first_reading_of_a_machine_and_of_a_new_meter_is_not_compared() -> None:
    assert questions_about(series(), reading(9, 3120), NOW) == ()
    new = reading(9, 0, is_new_meter=True)
    assert questions_about(series((8, 3120)), new, NOW) == ()


def test_a_reading_before_a_new_meter_is_not_compared_with_it() -> None:
    so_far = MeterSeries((reading(0, 3100), reading(8, 0, is_new_meter=True)))
    assert questions_about(so_far, reading(7, 3120), NOW) == ()
    assert questions_about(so_far, reading(9, 3130), NOW) == (Question.JUMP,)


@pytest.mark.parametrize(
    ("questions", "reason", "expected"),
    [
        ((), "", True),
        ((Question.JUMP,), "", False),
        ((Question.JUMP,), "  ", False),
        ((Question.JUMP, Question.TOO_OLD), "ran day and night in the flood", True),
    ],
)
def test_a_questioned_reading_is_taken_only_with_a_reason(
    questions: tuple[Question, ...], reason: str, expected: bool
) -> None:
    assert may_accept(questions, reason) is expected


def test_totals_go_on_through_a_new_meter() -> None:
    found = MeterSeries(
        (reading(0, 9_990), reading(5, 10_030), reading(5.01, 2, is_new_meter=True), reading(8, 26))
    )
    assert list(found.totals_h) == [9_990, 10_030, 10_030, 10_054]
    assert found.total_h_at(START + timedelta(days=2.5)) == pytest.approx(10_010)
    assert found.total_h_at(START - timedelta(days=1)) == 9_990
    assert found.total_h_at(NOW) == 10_054


@pytest.mark.parametrize("slip_h", [21_345.0, 124.0])
def test_a_slip_of_the_finger_drops_out_when_the_next_readings_agree(slip_h: float) -> None:
    found = series((0, 12_330), (1, 12_338), (2, slip_h), (3, 12_353), (4, 12_361))
    assert [r.meter_h for r in found.kept] == [12_330, 12_338, 12_353, 12_361]


@given(st.lists(st.integers(0, 12), max_size=8))
def test_what_is_kept_is_the_largest_set_that_never_falls(values: list[int]) -> None:
    found = series(*((float(day), float(value)) for day, value in enumerate(values)))
    kept = [r.meter_h for r in found.kept]
    sizes = (
        size
        for size in range(len(values), -1, -1)
        if any(list(chosen) == sorted(chosen) for chosen in combinations(values, size))
    )
    assert len(kept) == next(sizes)
    assert kept == sorted(kept)
    assert set(found.kept) <= set(found.readings)


RUNS = st.lists(
    st.tuples(st.floats(0, 20_000), st.lists(st.floats(0, 24), min_size=1, max_size=6)),
    min_size=1,
    max_size=4,
)


@given(RUNS)
def test_replacing_meters_keeps_the_total_continuous(
    runs: list[tuple[float, list[float]]],
) -> None:
    readings: list[Reading] = []
    for first_h, steps_h in runs:
        for n in range(len(steps_h) + 1):
            is_new_meter = bool(readings) and n == 0
            meter_h = first_h + sum(steps_h[:n])
            readings.append(reading(len(readings), meter_h, is_new_meter=is_new_meter))
    found = MeterSeries(tuple(readings))
    run_h = sum(sum(steps_h) for _, steps_h in runs)
    assert found.totals_h[-1] == pytest.approx(runs[0][0] + run_h, abs=1e-6)
    assert all(b >= a for a, b in zip(found.totals_h, found.totals_h[1:], strict=False))


def test_readings_out_of_order_or_at_one_instant_are_refused() -> None:
    for days in ((1, 0), (1, 1)):
        with pytest.raises(RefusedValueError, match="not_in_order"):
            series((days[0], 10), (days[1], 10))


@pytest.mark.parametrize("meter_h", [-1.0, float("nan"), float("inf")])
def test_a_figure_that_no_meter_shows_is_refused(meter_h: float) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        reading(0, meter_h)


def test_a_reading_without_offset_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="no_offset"):
        Reading(datetime.fromisoformat("2026-11-01T06:00"), 10)


def test_a_machine_without_readings_has_no_total() -> None:
    with pytest.raises(RefusedValueError, match="no_readings"):
        series().total_h_at(NOW)
