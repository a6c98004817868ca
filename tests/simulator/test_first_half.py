"""Histories of phones: the first half of the suite's; a process of its own plays the other."""

import pytest

from .halves import N_SEEDS, chunks_of, hold_what_must_hold

pytestmark = [pytest.mark.node, pytest.mark.django_db]


@pytest.mark.parametrize("seeds", chunks_of(range(N_SEEDS // 2)), ids=str)
def test_histories_hold_what_must_hold(seeds: range) -> None:
    hold_what_must_hold(seeds)
