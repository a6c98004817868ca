"""The batch that misses its day, by hand and against a search of all days."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.alerts.calc.sand import Coming, first_missed

TEN_DAYS = [10.0] * 10


def test_sand_that_lasts_misses_nothing() -> None:
    assert first_missed(100, 0, TEN_DAYS, []) is None
    assert first_missed(50, 0, TEN_DAYS, [Coming(1, 60, 4)]) is None


def test_batch_that_comes_after_its_day_is_found() -> None:
    """35 t and 10 t a day: below nothing on the evening of day 3; the batch comes on day 6.

    By the evening of day 5, 60 t would be used of 35 t: 25 t lack, 25 in 60 of each day's use.
    """
    missed = first_missed(35, 0, TEN_DAYS, [Coming(7, 100, 6)])

    assert missed is not None
    assert (missed.key, missed.needed_d, missed.ready_d) == (7, 3, 6)
    assert missed.short_kg == pytest.approx(25)
    assert missed.use_frac == pytest.approx(25 / 60)


def test_safety_stock_is_kept() -> None:
    missed = first_missed(45, 10, TEN_DAYS, [Coming(7, 100, 4)])
    assert missed is not None
    assert missed.needed_d == 3
    assert missed.short_kg == pytest.approx(5)


def test_next_batch_is_the_one_that_misses_though_a_later_one_is_named_first() -> None:
    coming = [Coming(9, 100, 8), Coming(8, 10, 1), Coming(7, 10, 6)]
    missed = first_missed(35, 0, TEN_DAYS, coming)
    assert missed is not None
    assert (missed.key, missed.needed_d) == (7, 4)


def test_no_batch_on_its_way_is_a_matter_without_one() -> None:
    missed = first_missed(35, 0, TEN_DAYS, [Coming(8, 10, 1)])
    assert missed is not None
    assert missed.key is None
    assert missed.ready_d == inf
    assert missed.short_kg == pytest.approx(55)


def test_batch_not_foreseen_is_the_last_to_come() -> None:
    missed = first_missed(35, 0, TEN_DAYS, [Coming(1, 10, inf)])
    assert missed is not None
    assert (missed.key, missed.ready_d) == (1, inf)
    assert missed.short_kg == pytest.approx(65)


@given(
    opening=st.integers(0, 60),
    safety=st.integers(0, 20),
    use=st.lists(st.integers(1, 12), min_size=3, max_size=15),
    coming=st.lists(st.tuples(st.integers(1, 40), st.integers(0, 20)), max_size=4),
)
def test_saving_that_share_lasts_until_the_batch_and_less_does_not(
    opening: int, safety: int, use: list[int], coming: list[tuple[int, int]]
) -> None:
    batches = [Coming(n, kg, day) for n, (kg, day) in enumerate(coming)]

    def lowest(share: float, until: int) -> float:
        level, seen = float(opening), []
        for day in range(until):
            level += sum(b.dry_kg for b in batches if b.ready_d == day) - use[day] * (1 - share)
            seen.append(level)
        return seen[-1]

    missed = first_missed(opening, safety, [float(kg) for kg in use], batches)

    if missed is None:
        assert all(lowest(0, day) >= safety for day in range(1, len(use) + 1))
        return
    assert lowest(0, missed.needed_d + 1) < safety
    assert all(lowest(0, day) >= safety for day in range(1, missed.needed_d + 1))
    until = min(len(use), int(min(missed.ready_d, len(use))))
    if missed.use_frac < 1:
        assert lowest(missed.use_frac, max(until, missed.needed_d + 1)) == pytest.approx(safety)
