"""Beds that are not ready: by hand, and against counting minute by minute."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.alerts.calc.beds import RowWork, beds_short
from tests.factories import utc

NOW = utc("2026-03-04 12:00")
MINUTE = timedelta(minutes=1)


def row(*, ends_min: float | None, due_min: float = 20, takes_min: float = 10) -> RowWork:
    return RowWork(
        n_stalls=100,
        duration_min=takes_min,
        due_at=NOW + due_min * MINUTE,
        ends_at=None if ends_min is None else NOW + ends_min * MINUTE,
    )


def test_work_that_ends_in_time_is_nobodys_matter() -> None:
    assert beds_short([], NOW) is None
    assert beds_short([row(ends_min=20), row(ends_min=12)], NOW) is None


def test_row_that_runs_over_leaves_its_share_of_stalls() -> None:
    """Of 100 stalls in 10 minutes, the last 4 minutes are 40 stalls."""
    short = beds_short([row(ends_min=24), row(ends_min=15)], NOW)

    assert short is not None
    assert (short.n_rows, short.n_nobody, short.over_min, short.n_stalls) == (1, 0, 4, 40)
    assert short.closes_at == short.decide_by == NOW + 20 * MINUTE


def test_row_that_nobody_has_must_begin_its_minutes_before_it_closes() -> None:
    short = beds_short([row(ends_min=None), row(ends_min=15)], NOW)

    assert short is not None
    assert (short.n_rows, short.n_nobody, short.over_min, short.n_stalls) == (1, 1, 0, 100)
    assert short.decide_by == NOW + 10 * MINUTE
    assert short.closes_at == NOW + 20 * MINUTE


def test_work_that_should_have_ended_ends_now_at_the_earliest() -> None:
    late = row(ends_min=-5, due_min=-2)
    short = beds_short([late], NOW)
    assert short is not None
    assert (short.over_min, short.n_stalls) == (2, 20)


@given(
    ends=st.lists(st.integers(1, 60), min_size=1, max_size=4),
    takes_min=st.integers(5, 30),
    n_stalls=st.integers(1, 150),
)
def test_stalls_left_are_those_a_steady_hand_has_not_reached(
    ends: list[int], takes_min: int, n_stalls: int
) -> None:
    """An independent count: stall k is done at the k-th equal part of the work's minutes."""
    due = 30
    rows = [RowWork(n_stalls, takes_min, NOW + due * MINUTE, NOW + end * MINUTE) for end in ends]
    left = sum(
        1
        for end in ends
        for k in range(n_stalls)
        if (end - takes_min) * n_stalls + (k + 1) * takes_min > due * n_stalls
    )

    short = beds_short(rows, NOW)

    assert (short.n_stalls if short else 0) == left
    if short:
        assert short.over_min == pytest.approx(max(ends) - due)
