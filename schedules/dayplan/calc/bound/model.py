"""The bound: a linear program over rows, one a turn, whose prices bound every plan.

References
----------
M. E. Luebbecke, J. Desrosiers, "Selected topics in column generation", Operations Research 53
(2005) 1007-1023, doi:10.1287/opre.1050.0234 (from memory): the Lagrangian bound of section 2, and
prices taken between those of the program and the best known ones.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from queue import SimpleQueue
from time import monotonic

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

from schedules.dayplan.calc.bound.day import RelaxedDay
from schedules.dayplan.calc.bound.rows import Prices, Room, Row, Rows
from schedules.dayplan.calc.bound.start import first_prices, rows_of_plan
from schedules.dayplan.calc.bound.turns import turns_of
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.search.first import little_day
from schedules.dayplan.calc.solution import Assignment

_SLOT_MIN = 0.5  # finer ones hardly better the bound [min]
_N_LABELS = 100_000  # of one turn; where they do not do, a plainer bound on its rows counts
# How far prices stay with the best known ones: at first, after a worse bound, less after none new.
_INWARD, _FAR_INWARD, _OUTWARD = 0.7, 0.85, 0.35
_NEAR_FRAC = 1e-3  # the bound is as good as done when it is so near to the program's cost
_TINY = 1e-6  # sums of floats are no finer
_LEAST_OUT_COST = 1.0  # leaving out counts as so cheap, until the program would [min of walking]
_DEARER = 3.0  # then as so many times that
_ROUGH_FRAC = 0.03  # as _NEAR_FRAC, while something counts as left out

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound and the prices that prove it.

    Parameters
    ----------
    cost : float
        No plan can cost less. [min of walking]
    part_prices : dict
        By job and whether it is the driver's part: what a person gets for it, 0 if not named.
    stand_prices : dict
        By kind ("machine", "job") and id: what taking a machine over costs where that machine was
        at first, or after that job.
    """

    cost: float
    part_prices: dict[tuple[str, bool], float]
    stand_prices: dict[tuple[str, str], float]


def bound_day(
    problem: Problem,
    plan: Iterable[Assignment] = (),
    *,
    seconds: float,
    workers: int = 1,
    is_over: Callable[[float], bool] = lambda _: False,
) -> Bound:
    """Bound what any plan of a day costs.

    Parameters
    ----------
    plan : iterable of Assignment
        A good one, to begin with.
    seconds : float
        Time after which the best bound so far is returned. [s]
    workers : int
        Threads.
    is_over : callable
        Asked now and then, with the best bound so far, whether to stop.

    Returns
    -------
    Bound
        One that prices given by anybody prove: of each job the lesser of its price of being left
        out and of its parts' prices, and of each person's shift what the cheapest row costs less.
    """
    return _Program(problem, workers).bound(plan, monotonic() + seconds, is_over)


@cache
def use_bound_once() -> float:
    """Bound a little day, so that the loops are compiled; return its bound [min of walking]."""
    return bound_day(little_day(), seconds=60).cost


class _Program:
    def __init__(self, problem: Problem, workers: int) -> None:
        self.problem, self.workers = problem, workers
        self.day = day = RelaxedDay(problem, _SLOT_MIN)
        self.turns = [Rows(day, t, turn) for t, turn in enumerate(turns_of(day))]
        self.rooms: SimpleQueue[Room] = SimpleQueue()
        for _ in range(workers):
            self.rooms.put(Room(_N_LABELS, self.turns))
        self.jobs = sorted({part.job for part in day.parts})
        at = {j: i for i, j in enumerate(self.jobs)}
        self.job_of = np.array([at[part.job] for part in day.parts], np.int64)
        self.n_of = np.array([float(part.n) for part in day.parts])
        self.out = np.array([float(day.left_out_cost(j)) for j in self.jobs])
        self.rows: list[Row] = []
        self.capped = np.where(self._lacking(), self.out, np.minimum(self.out, _LEAST_OUT_COST))
        self.cost, self.out_share = np.inf, np.zeros(len(self.jobs))  # the program's, by it
        self.known: set[tuple[int, tuple[int, ...], tuple[int, ...]]] = set()

    def _lacking(self) -> NDArray[np.bool_]:
        """Return of each job whether a part of it lacks people: then it is left out for sure."""
        fitting = np.bincount(
            np.concatenate([np.zeros(0, np.int64), *(rows.turn.parts for rows in self.turns)]),
            minlength=len(self.n_of),
        )
        lacking = np.zeros(len(self.jobs), np.bool_)
        lacking[self.job_of[fitting < self.n_of]] = True
        return lacking

    def bound(
        self, plan: Iterable[Assignment], until_s: float, is_over: Callable[[float], bool]
    ) -> Bound:
        """Better the bound until no price can, or until told; `until_s` is an instant."""
        given = list(rows_of_plan(self.day, self.turns, plan))
        self._add(row for row, _ in given)
        prices = first_prices(self.day, given)
        best_prices = Prices(0 * prices.parts, 0 * prices.stands)
        best, share = 0.0, _INWARD
        with ThreadPoolExecutor(self.workers) as threads:
            while self.jobs and monotonic() < until_s and not is_over(best):
                tried = prices.toward(best_prices, share)
                value, n_new = self._try(tried, threads)
                if value > best:
                    best, best_prices = value, tried
                if self._is_done(best, is_vain=n_new == 0 and share == 0):
                    break
                found = self._solve(until_s - monotonic())
                if found is None:
                    break
                prices = found
                share = max(0.0, share - _OUTWARD) if n_new == 0 else _INWARD
                if n_new and value < best:
                    share = _FAR_INWARD
        return self._told(best, best_prices)

    def _is_done(self, best: float, *, is_vain: bool) -> bool:
        """Whether there is nothing more to gain; what counts as left out is made dearer."""
        cheap = (self.out_share > 0) & (self.capped < self.out)
        near = _ROUGH_FRAC if cheap.any() else _NEAR_FRAC
        if not is_vain and self.cost - best > near * best:
            return False
        dearer = np.minimum(self.out, _DEARER * self.capped)
        self.capped = np.where(cheap, dearer, self.capped)
        return not cheap.any()

    def _try(self, prices: Prices, threads: ThreadPoolExecutor) -> tuple[float, int]:
        """Return the bound that prices prove, and how many rows were new."""
        found = list(threads.map(lambda rows: self._cheapest(rows, prices), self.turns))
        n_before = len(self.rows)
        self._add(row for _, several in found for row in several)
        worth = np.zeros(len(self.jobs))
        np.add.at(worth, self.job_of, self.n_of * prices.parts)
        value = np.minimum(worth, self.out).sum() - prices.stands.sum()
        return float(value + sum(least for least, _ in found)) - _TINY, len(self.rows) - n_before

    def _add(self, rows: Iterable[Row]) -> None:
        for row in rows:
            key = row.turn, row.parts, row.stands
            if key not in self.known:
                self.known.add(key)
                self.rows.append(row)

    def _cheapest(self, rows: Rows, prices: Prices) -> tuple[float, list[Row]]:
        room = self.rooms.get()
        try:
            return rows.cheapest(prices, room)
        finally:
            self.rooms.put(room)

    def _solve(self, left_s: float) -> Prices | None:
        """Solve the program over the rows known; return its prices."""
        if left_s <= 0:
            return None
        n_parts, n_stands, n_rows = len(self.n_of), len(self.day.stands), len(self.rows)
        entries = [(r, i, -1.0) for i, row in enumerate(self.rows) for r in row.parts]
        entries += [(n_parts + s, i, 1.0) for i, row in enumerate(self.rows) for s in row.stands]
        n_most = n_parts + n_stands
        entries += [(n_most + row.turn, i, 1.0) for i, row in enumerate(self.rows)]
        entries += [(r, n_rows + int(j), -self.n_of[r]) for r, j in enumerate(self.job_of)]
        at_row, at_column, values = (np.array(x) for x in zip(*entries, strict=True))
        n_all = n_most + len(self.turns)
        matrix = sparse.csr_array(
            (values, (at_row, at_column)), shape=(n_all, n_rows + len(self.jobs))
        )
        found = optimize.linprog(
            np.concatenate([[row.cost for row in self.rows], self.capped]),
            A_ub=matrix,
            b_ub=np.concatenate([-self.n_of, np.ones(n_all - n_parts)]),
            method="highs",
            options={"time_limit": left_s},
        )
        if found.status != 0:
            return None
        self.out_share = np.where(found.x[n_rows:] > 1e-6, found.x[n_rows:], 0)
        prices = np.maximum(0, -found.ineqlin.marginals)
        self.cost = float(found.fun)
        return Prices(prices[:n_parts], prices[n_parts:n_most])

    def _told(self, cost: float, prices: Prices) -> Bound:
        jobs, machines = self.problem.jobs, self.problem.machines
        parts = zip(self.day.parts, prices.parts.tolist(), strict=True)
        stand_prices = {}
        for stand, price in zip(self.day.stands, prices.stands.tolist(), strict=True):
            is_first = stand.job < 0
            key = machines[min(stand.machines)].id if is_first else jobs[stand.job].id
            stand_prices["machine" if is_first else "job", key] = price
        part_prices = {(jobs[part.job].id, part.is_driver): price for part, price in parts}
        return Bound(cost, part_prices, stand_prices)
