"""A constraint model's linear relaxation as a sparse matrix."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model
from scipy import sparse

_FAR = 2**60
Terms = Iterable[tuple[int, float]]


@dataclass(frozen=True, slots=True)
class Rows:
    """`low <= matrix @ v <= high`, `lower <= v <= upper`, minimise `cost @ v + offset`."""

    matrix: Any
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    cost: NDArray[np.float64]
    offset: float

    def without(self, sums: Mapping[int, Iterable[int]]) -> Rows:
        """Put in place of variables what each is the sum of."""
        n = self.matrix.shape[1]
        entries = [(index, index) for index in range(n) if index not in sums]
        entries += [(index, term) for index, terms in sums.items() for term in terms]
        into = sparse.csr_matrix((np.ones(len(entries)), np.array(entries).T), shape=(n, n))
        matrix = sparse.csr_matrix(self.matrix @ into)
        matrix.eliminate_zeros()
        return replace(self, matrix=matrix, cost=self.cost @ into)

    def shared_by(self, person_of: Mapping[int, int]) -> Rows:
        """Leave out the rows that hold one person's variables and nothing else."""
        kept = []
        for r in range(self.matrix.shape[0]):
            held = self.matrix.indices[self.matrix.indptr[r] : self.matrix.indptr[r + 1]]
            if len({person_of.get(int(index), -1) for index in held}) > 1 or not all(
                int(index) in person_of for index in held
            ):
                kept.append(r)
        return replace(self, matrix=self.matrix[kept], low=self.low[kept], high=self.high[kept])


@dataclass(slots=True)
class _Builder:
    rows: list[int] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: Terms, low: float, high: float) -> None:
        """Add a row; a literal below 0 is another one's negation."""
        row, offset = len(self.low), 0.0
        for index, value in terms:
            is_negated = index < 0
            offset += value if is_negated else 0.0
            self.rows.append(row)
            self.columns.append(-index - 1 if is_negated else index)
            self.values.append(-value if is_negated else value)
        self.low.append(low - offset)
        self.high.append(high - offset)


def rows_of(model: cp_model.CpModel) -> Rows:
    """Write what is linear in a model, or has a plain linear relaxation, as rows."""
    proto, made = model.proto, _Builder()
    for constraint in proto.constraints:
        _add(made, constraint)
    n = len(proto.variables)
    cost = np.zeros(n)
    for index, value in zip(proto.objective.vars, proto.objective.coeffs, strict=True):
        cost[index if index >= 0 else -index - 1] += value if index >= 0 else -value
    entries = (made.values, (made.rows, made.columns))
    return Rows(
        matrix=sparse.csr_matrix(entries, shape=(len(made.low), n)),
        low=np.array(made.low),
        high=np.array(made.high),
        lower=np.array([float(v.domain[0]) for v in proto.variables]),
        upper=np.array([float(v.domain[1]) for v in proto.variables]),
        cost=cost,
        offset=float(proto.objective.offset),
    )


def _add(made: _Builder, constraint: Any) -> None:
    if constraint.has_linear():
        low, high = constraint.linear.domain[0], constraint.linear.domain[1]
        terms = zip(constraint.linear.vars, constraint.linear.coeffs, strict=True)
        made.add(terms, _unless_far(low), _unless_far(high))
    elif constraint.has_bool_or():
        made.add(((index, 1.0) for index in constraint.bool_or.literals), 1.0, np.inf)
    elif constraint.has_at_most_one():
        made.add(((index, 1.0) for index in constraint.at_most_one.literals), -np.inf, 1.0)
    elif constraint.has_lin_max():
        _add_max(made, constraint.lin_max)


def _add_max(made: _Builder, lin_max: Any) -> None:
    """Add the rows of a literal that is true when one of others is."""
    target = list(zip(lin_max.target.vars, lin_max.target.coeffs, strict=True))
    parts = [list(zip(e.vars, e.coeffs, strict=True)) for e in lin_max.exprs]
    offsets = [e.offset - lin_max.target.offset for e in lin_max.exprs]
    for part, offset in zip(parts, offsets, strict=True):
        made.add([*target, *((index, -value) for index, value in part)], offset, np.inf)
    every = [(index, -value) for part in parts for index, value in part]
    made.add([*target, *every], -np.inf, sum(offsets))


def _unless_far(bound: int) -> float:
    return float(bound) if abs(bound) < _FAR else float(np.copysign(np.inf, bound))
