"""The load of the holding area, against a textbook's queue and by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc.holding import HoldingStay, holding_load
from tests.schedules.rounds.builders import few

# A pen of 300 that is in within 4 min and taken at 450 an hour: 40 min.
PEN = HoldingStay("a", 300, 0, 4, 0, 40)

stay_lists = st.lists(
    st.tuples(*[st.integers(0, 90)] * 4, st.integers(1, 400)), min_size=1, max_size=5
).map(
    lambda rows: [
        HoldingStay(
            str(n), n_cows, in_from, in_from + clear, in_from + wait, in_from + wait + entry
        )
        for n, (in_from, clear, wait, entry, n_cows) in enumerate(rows)
    ]
)


def test_a_park_gates_queue_is_that_of_the_textbook() -> None:
    # Mannering and Washburn, "Principles of Highway Engineering and Traffic Analysis", the worked
    # D/D/1 example (example 5.7 in the 4th ed., from memory, and by hand): 480 vehicles an hour
    # for 20 min, then 120; the gate takes 240. The queue peaks at 80 after 20 min and is gone
    # after an hour; all wait 2,400 vehicle minutes.
    early = HoldingStay("early", 160, 0, 20, 0, 40)
    late = HoldingStay("late", 80, 20, 60, 40, 60)
    load = holding_load([early, late])
    assert dict(zip(load.at_min, load.n_cows, strict=True)) == {0: 0, 20: 80, 40: 40, 60: 0}
    assert load.peak_cows == 80
    assert load.wait_cow_min == 2400


def test_a_pen_that_is_brought_faster_than_it_is_taken_peaks_when_its_last_cow_comes() -> None:
    # By hand: in 4 min the deck took 30 of 300. Handbooks size the area to the largest group
    # (15 to 20 square feet a cow, Dairyland Initiative): 270 is what of it stands there at once.
    load = holding_load([PEN])
    assert load.peaks == pytest.approx((270,))
    assert load.at_min[load.n_cows.argmax()] == 4


def test_a_pen_that_comes_before_the_last_is_taken_stands_beside_it() -> None:
    # By hand: at 34 min 45 of a's 300 are left; 100 more come at once.
    load = holding_load([PEN, HoldingStay("b", 100, 34, 34, 40, 55)])
    assert load.peaks == pytest.approx((270, 145))


def test_a_pen_that_is_taken_as_it_comes_never_waits() -> None:
    load = holding_load([HoldingStay("a", 300, 0, 40, 0, 40)])
    assert (load.peak_cows, load.wait_cow_min) == (0, 0)


def test_a_record_of_cows_taken_before_they_came_leaves_none() -> None:
    assert holding_load([HoldingStay("a", 300, 30, 40, 0, 20)]).peak_cows == 0


@few
@given(stay_lists)
def test_the_wait_is_what_each_cow_waits_from_her_coming_to_her_step(
    stays: list[HoldingStay],
) -> None:
    # The same area, cut the other way: each cow's own wait, where she comes before she is taken.
    # Rises or falls at one instant are drawn as slopes, so groups of no width are left out.
    stays = [s for s in stays if s.in_from_min < s.in_until_min and s.on_from_min < s.on_until_min]
    stays = [s for s in stays if s.in_until_min <= s.on_until_min]
    if not stays:
        return
    by_cow = [
        s.n_cows
        * (np.mean([s.on_from_min, s.on_until_min]) - np.mean([s.in_from_min, s.in_until_min]))
        for s in stays
    ]
    load = holding_load(stays)
    assert load.wait_cow_min == pytest.approx(sum(by_cow))
    assert load.n_cows.min() >= 0
    assert load.peak_cows == pytest.approx(load.n_cows.max())


@pytest.mark.parametrize(
    ("stay", "message"),
    [
        (("a", 0, 0, 4, 0, 40), "stay a: n_cows"),
        (("a", 1, 4, 0, 0, 40), "stay a: in_until_min"),
        (("a", 1, 0, 4, 40, 0), "stay a: on_until_min"),
        (("a", 1, float("nan"), 4, 0, 40), "stay a: in_until_min"),
    ],
)
def test_a_stay_that_cannot_be_is_refused(
    stay: tuple[str, int, float, float, float, float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        HoldingStay(*stay)


def test_no_stays_are_refused() -> None:
    with pytest.raises(ValueError, match="stays: at least one"):
        holding_load([])


def test_cows_that_come_at_once_wait_from_then_on() -> None:
    # By hand: an earlier cow makes the day begin at 0. 10 cows wait from 10 to 20, then half of
    # them on average until 30: 100 + 50 cow-minutes, and 1 for the first cow.
    early = HoldingStay("early", 1, 0, 0, 1, 1)
    load = holding_load([early, HoldingStay("late", 10, 10, 10, 20, 30)])
    assert load.wait_cow_min == pytest.approx(151)
    assert load.peaks == (1, 10)


def test_cows_that_are_taken_at_once_have_all_stood_there() -> None:
    load = holding_load([HoldingStay("a", 10, 0, 20, 20, 20)])
    assert load.peak_cows == pytest.approx(10)
    assert load.wait_cow_min == pytest.approx(100)
