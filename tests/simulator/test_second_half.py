"""Histories of phones: the second half of the suite's."""

import pytest

from .halves import N_SEEDS, chunks_of, hold_what_must_hold

pytestmark = [pytest.mark.node, pytest.mark.django_db]


@pytest.mark.parametrize("seeds", chunks_of(range(N_SEEDS // 2, N_SEEDS)), ids=str)
def test_histories_hold_what_must_hold(seeds: range) -> None:
    hold_what_must_hold(seeds)
