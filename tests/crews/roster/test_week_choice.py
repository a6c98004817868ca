"""The choice of rows finds what trying every row finds, and ends when it is told to."""

from itertools import product

import numpy as np
import pytest
from scipy import sparse

from crews.roster.calc.choice import choose

N_PROGRAMS = 6


def a_program(seed: int, n: int, n_rows: int) -> tuple[sparse.csr_matrix, dict[str, np.ndarray]]:
    """Cover each row at the least cost."""
    rng = np.random.default_rng(seed)
    matrix = rng.integers(0, 9, size=(n_rows, n)).astype(float)
    vectors = {
        "low": matrix.sum(axis=1) // 2,
        "high": np.full(n_rows, np.inf),
        "lower": np.zeros(n),
        "upper": np.ones(n),
        "cost": rng.integers(5, 30, size=n).astype(float),
        "integrality": np.ones(n),
    }
    return sparse.csr_matrix(matrix), vectors


def test_the_choice_is_the_cheapest_of_all() -> None:
    for seed in range(N_PROGRAMS):
        matrix, vectors = a_program(seed, 8, 4)
        every = np.array(list(product((0, 1), repeat=8)))
        is_met = (every @ matrix.T.toarray() >= vectors["low"]).all(axis=1)

        found = choose(matrix, vectors, limit_s=60.0, node_limit=None, goes_on=lambda: True)

        assert found is not None
        cheapest = (every[is_met] @ vectors["cost"]).min()
        assert found @ vectors["cost"] == pytest.approx(cheapest)


def test_a_choice_that_is_stopped_ends_at_once() -> None:
    matrix, vectors = a_program(0, 400, 120)
    asked: list[bool] = []

    def goes_on() -> bool:
        asked.append(True)
        return len(asked) < 3

    found = choose(matrix, vectors, limit_s=600.0, node_limit=None, goes_on=goes_on)

    assert found is None
    assert len(asked) == 3
