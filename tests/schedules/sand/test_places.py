"""Places in use by Little's law, a pile's time at its place, and sand given out by age."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.sand.calc.places import n_in_residence, pile_residence_d, share_out


def test_little_s_law_is_what_a_counted_yard_shows() -> None:
    # a layer every half day, each lying 3.5 to 6.5 days: counted at every tenth of a day
    rng = np.random.default_rng(5)
    came = np.arange(0, 4000, 0.5)
    left = came + rng.uniform(3.5, 6.5, came.size)
    times = np.arange(50.05, 3900, 0.1)
    counted = np.searchsorted(came, times, "right") - np.searchsorted(np.sort(left), times, "right")
    expected = n_in_residence(np.array(2.0), (left - came).mean())
    assert counted.mean() == pytest.approx(float(expected), rel=1e-3)
    assert float(n_in_residence(np.array(0.0), np.array(math.inf))) == 0


def test_a_pile_fills_cures_and_is_bedded() -> None:
    inflow, use = np.array([10.0, 100.0, 0.0]), np.array([20.0, 100.0, 50.0])
    per_d, residence_d = pile_residence_d(inflow, use, place_kg=400, close_d=8, cure_d=60)
    # 8 days of 10, cured 60, 80 kg at 20 a day; the second is full after 4 days, and lasts 4
    assert residence_d == pytest.approx([8 + 60 + 4, 4 + 60 + 4, 60])
    assert per_d == pytest.approx([1 / 8, 1 / 4, 0])


def test_pens_are_served_from_the_oldest_on() -> None:
    taken = share_out(np.array([3.0, 4.0, 5.0]), np.array([5.0, 4.0]))
    assert taken.tolist() == [[3, 0], [2, 2], [0, 2]]


@given(
    need_kg=st.lists(st.floats(0, 50), min_size=1, max_size=8),
    batch_kg=st.lists(st.floats(0, 90), min_size=1, max_size=8),
)
def test_no_batch_gives_more_than_it_has_and_none_is_kept_back(
    need_kg: list[float], batch_kg: list[float]
) -> None:
    needs, batches = np.array(need_kg), np.array(batch_kg)
    taken = share_out(needs, batches)
    assert (taken.sum(axis=0) <= batches + 1e-9).all()
    assert (taken.sum(axis=1) <= needs + 1e-9).all()
    assert taken.sum() == pytest.approx(min(needs.sum(), batches.sum()), abs=1e-6)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: share_out(np.array([-1.0]), np.array([1.0])), "need_kg"),
        (lambda: n_in_residence(np.array(-1.0), np.array(1.0)), "arrivals_per_d"),
        (
            lambda: pile_residence_d(
                np.array([-1.0]), np.array([1.0]), place_kg=1, close_d=1, cure_d=0
            ),
            "inflow_kg_d",
        ),
        (
            lambda: pile_residence_d(
                np.array([1.0]), np.array([1.0]), place_kg=1, close_d=0, cure_d=0
            ),
            "close_d",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(call: Any, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        call()
