"""A bound before the program over rows is solved: prices are moved along what is short.

At any price for each shared row the cheapest rows of all people, and the cheapest of what lies
beside them, bound every roster from below; steps along what they leave unmet raise that bound.

References
----------
Barahona, F.; Anbil, R., The volume algorithm: producing primal solutions with a subgradient method,
Mathematical Programming 87(3), 2000.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from crews.roster.calc.linear import Rows

Floats = NDArray[np.float64]
_NEWEST = 0.05  # share of the newest rows in the mean that steps go by
_BEGIN_FRAC = 0.1  # of the highest price that makes sense
_REACH = 0.1  # of the way to the target, at first
_PATIENCE = 25  # steps without a better bound before they shorten
_SHORTER = 0.85
_SHORTEST = 1e-3


@dataclass(frozen=True, slots=True)
class _Free:
    """A variable at no cost that a row alone says: its index, that row, its coefficient there."""

    index: int
    row: int
    value: float


class Prices:
    """Prices of shared rows, and the bound that they give.

    Parameters
    ----------
    rows : Rows
    places : iterable of int
        Variables that are people's own, or stand for nothing.
    """

    def __init__(self, rows: Rows, places: Iterable[int]) -> None:
        self.rows = rows
        self.matrix = sparse.csr_matrix(rows.matrix)
        self.turned = sparse.csr_matrix(rows.matrix.T)
        self.beside = np.setdiff1d(np.arange(self.matrix.shape[1]), list(places))
        by_column = sparse.csc_matrix(rows.matrix)
        self.free = list(self._frees(by_column))
        self.least, self.most = self._limits(by_column)
        self.scale = 1 / np.maximum(abs(self.matrix).max(axis=1).toarray().ravel(), 1e-9)
        middle = np.where(np.isfinite(self.most), self.most, 0.0) * _BEGIN_FRAC
        self.duals = self._freed(middle)
        self.best = self.duals
        self.best_bound = float("-inf")
        self.mean = np.zeros(self.matrix.shape[1])
        self.reach, self.n_vain = _REACH, 0

    @property
    def is_done(self) -> bool:
        """Whether steps have become so short that no better bound is to be expected."""
        return self.reach <= _SHORTEST

    def _frees(self, by_column: Any) -> Iterable[_Free]:
        rows = self.rows
        for index in self.beside.tolist():
            start, end = by_column.indptr[index], by_column.indptr[index + 1]
            if rows.cost[index] == 0 and rows.upper[index] - rows.lower[index] > 1:
                for r, value in zip(
                    by_column.indices[start:end], by_column.data[start:end], strict=True
                ):
                    if rows.low[r] == rows.high[r]:
                        yield _Free(index, int(r), float(value))
                        break

    def _limits(self, by_column: Any) -> tuple[Floats, Floats]:
        """Prices past which nothing is gained: what lies beside would go to its end."""
        rows = self.rows
        least = np.where(np.isfinite(rows.high), -np.inf, 0.0)
        most = np.where(np.isfinite(rows.low), np.inf, 0.0)
        for index in self.beside.tolist():
            start, end = by_column.indptr[index], by_column.indptr[index + 1]
            if end - start == 1 and rows.lower[index] == 0:
                r, value = by_column.indices[start], by_column.data[start]
                limit = rows.cost[index] / value
                if value > 0:
                    most[r] = min(most[r], limit)
                else:
                    least[r] = max(least[r], limit)
        return least, most

    def at_places(self) -> Floats:
        """Return what each variable earns at the prices."""
        return np.asarray(self.turned @ self.duals)

    def shared(self) -> tuple[float, Floats]:
        """Return what the bound is but for people's rows, and the values of what lies beside."""
        rows, duals = self.rows, self.duals
        side = np.where(duals > 0, rows.low, np.where(duals < 0, rows.high, 0.0))
        values = np.zeros(self.matrix.shape[1])
        reduced = rows.cost[self.beside] - self.at_places()[self.beside]
        chosen = np.where(reduced < 0, rows.upper[self.beside], rows.lower[self.beside])
        values[self.beside] = chosen
        return float(duals @ side + reduced @ chosen + rows.offset), values

    def step(self, bound: float, values: Floats, target: float) -> None:
        """Go on from a bound, and what all variables were for it, towards a target above."""
        rows = self.rows
        if bound > self.best_bound:
            self.best_bound, self.best, self.n_vain = bound, self.duals, 0
        else:
            self.n_vain += 1
        if self.n_vain > _PATIENCE:
            self.reach, self.n_vain = max(_SHORTEST, self.reach * _SHORTER), 0
            self.duals = self.best
        self._settle(values)
        self.mean = _NEWEST * values + (1 - _NEWEST) * self.mean if self.mean.any() else values
        met = self.matrix @ self.mean
        is_low = (met < rows.low) | ((self.duals > 0) & (met > rows.low))
        is_high = (met > rows.high) | ((self.duals < 0) & (met < rows.high))
        ways = (
            np.where(is_low, rows.low - met, np.where(is_high, rows.high - met, 0.0)) * self.scale
        )
        length = self.reach * max(target - bound, 0.0) / max(float(ways @ ways), 1e-9)
        moved = np.clip(self.duals + length * ways * self.scale, self.least, self.most)
        self.duals = self._freed(moved)

    def _settle(self, values: Floats) -> None:
        """Set what is free, so that its row is met."""
        for free in self.free:
            values[free.index] = 0.0
            met = float((self.matrix[free.row] @ values)[0])
            values[free.index] = (self.rows.low[free.row] - met) / free.value

    def _freed(self, duals: Floats) -> Floats:
        """Price the rows of what is free, so that it costs nothing."""
        for free in self.free:
            duals[free.row] = 0.0
            duals[free.row] = -float((self.turned[free.index] @ duals)[0]) / free.value
        return duals
