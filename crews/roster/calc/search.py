"""The search for a cheap roster: the whole model, a bound, walks over rosters, a choice, parts.

The whole model is for what is small or cannot be. Prices and columns give the bound; walks take
rows out and put others in; where they end near the bound, the best mixture of all rows seen is
chosen. What is left of the time goes to parts: some people on some days, while the rest stays as it
is. Parts grow while they are solved to the end and shrink when they are not.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from threading import Event, Thread
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from crews.roster.calc.columns import Columns, Key
from crews.roster.calc.model import RosterModel
from crews.roster.calc.model_rules import SCALE
from crews.roster.calc.problem import Problem
from crews.roster.calc.refit import Facts, Walk
from crews.roster.calc.refit_loops import HARD
from crews.roster.calc.score import score_roster
from crews.roster.calc.solution import Assignment, Solution, Status

# Shares of the time up to which each phase lasts; parts have the rest.
WHOLE_UNTIL_FRAC, PRICES_UNTIL_FRAC, COLUMNS_UNTIL_FRAC = 0.05, 0.25, 0.4
WALKS_UNTIL_FRAC, AGAIN_UNTIL_FRAC, CHOICE_UNTIL_FRAC = 0.65, 0.85, 0.95
CHOICE_GAP_FRAC = 0.05  # above it no choice among rows is much better
WALK_GAP_FRAC = 0.01  # below it a choice is better than to walk on
CHOICE_MOST_S = 60.0
N_VARIED, SPREAD_FRAC = 60, 0.03  # prices beside the best, by a share of the gap
CHOICE_NODES = 100  # when iterations are the limit
COLUMN_ROUNDS = 30  # when iterations are the limit
ROUND_MOST_S = 2.0  # or the program over rows is too large
SLICE_S = 0.3  # between looks at the clock
SLICE_MOVES = 500  # the first time, and when iterations are the limit
DESCENTS = 4
COLDEST_FRAC = 1 / 30  # of the first temperature
AGAIN_FRAC = 0.6  # of the first temperature, on a second walk
PART_WORK = 1.5  # deterministic seconds of the solver for one part
WHOLE_WORK = 4.0  # the same for the whole model, when iterations are the limit
SMALLEST_PART = 24  # person-days
_GREW, _SHRANK = 1.1, 0.9
_ASKS_EVERY_S = 0.1


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search has come: seconds since its start, cost, bound and gap."""

    elapsed_s: float
    cost: float
    bound_cost: float
    gap_frac: float


OnProgress = Callable[[Progress], None]


def solve_week(
    problem: Problem,
    *,
    seconds: float | None = 60.0,
    workers: int = 1,
    seed: int = 0,
    iterations: int | None = None,
    on_progress: OnProgress | None = None,
    start: Iterable[Assignment] = (),
    stop: Event | None = None,
) -> Solution:
    """Find a cheap roster, and a cost that none can go below.

    Parameters
    ----------
    problem : Problem
    seconds : float or None
        Limit by the clock; none: `iterations` alone. [s]
    workers : int
        Threads.
    seed : int
        The same seed, workers and iterations, without a limit by the clock, find the same roster.
    iterations : int or None
        Rounds of parts after the whole model; none: while the time lasts.
    on_progress : callable, optional
        Told each better roster or bound, in a thread of the search.
    start : iterable of Assignment
        A roster to begin near, such as the published one.
    stop : Event, optional
        Once it is set, the search ends and keeps the best roster.

    Returns
    -------
    Solution
    """
    limits = _Limits(seconds, workers, seed, iterations)
    return _Search(problem, limits, on_progress, stop or Event()).run(tuple(start))


@dataclass(frozen=True, slots=True)
class _Limits:
    seconds: float | None
    workers: int
    seed: int
    iterations: int | None


class _Search:
    def __init__(
        self, problem: Problem, limits: _Limits, on_progress: OnProgress | None, stop: Event
    ) -> None:
        self.begun_s = time.monotonic()
        self.problem = problem
        self.seconds = limits.seconds
        self.workers = limits.workers
        self.iterations = limits.iterations
        self.on_progress = on_progress
        self.rng = np.random.default_rng(limits.seed)
        self.main = RosterModel(problem)
        self.parts = [_Part(problem) for _ in range(limits.workers)]
        self.columns = Columns(problem)
        facts = Facts(problem, self.columns.people)
        self.walks = [Walk(facts) for _ in range(limits.workers)]
        self.best: list[int] = []  # a value for each variable
        self.best_cost = 0
        self.bound = 0
        self.has_choice = True  # of rows, by the program over them
        self.stop = stop

    def elapsed_s(self) -> float:
        return time.monotonic() - self.begun_s

    def left_s(self) -> float:
        return 1e9 if self.seconds is None else self.seconds - self.elapsed_s()

    def run(self, start: Sequence[Assignment]) -> Solution:
        status = self._solve_whole(start)
        if status == cp_model.INFEASIBLE:
            return Solution(Status.INFEASIBLE)
        if status == cp_model.UNKNOWN:
            return Solution(Status.NO_ANSWER, bound_cost=self.bound / SCALE)
        if status != cp_model.OPTIMAL:
            with ThreadPoolExecutor(self.workers) as pool:
                self._raise_bound(pool)
                self._use_columns(pool)
                self._walk(pool, WALKS_UNTIL_FRAC if self.has_choice else 1.0, 1.0)
                if self._is_near(CHOICE_GAP_FRAC):
                    self._choose(pool)
                else:
                    self._walk(pool, AGAIN_UNTIL_FRAC, AGAIN_FRAC)
                self._improve(pool, 1.0)
        return self._solution()

    def _solve_whole(self, start: Sequence[Assignment]) -> int:
        self._begin(start)
        solver = self._solver(self.workers)
        self._limit(solver, WHOLE_UNTIL_FRAC)
        status = self._watched(solver)
        is_none = status == cp_model.UNKNOWN and not self.best
        if is_none and self.left_s() > 0 and not self.stop.is_set():
            solver.parameters.max_time_in_seconds = min(self.left_s(), 1e9)
            solver.parameters.stop_after_first_solution = True
            status = self._watched(solver)
        self.bound = max(self.bound, _floor(solver.best_objective_bound))
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            cost = round(solver.objective_value)
            if not self.best or cost < self.best_cost:
                self._take(list(solver.response_proto.solution), cost)
        self.bound = self._rounded_up(self.bound)
        return int(cp_model.FEASIBLE if status == cp_model.UNKNOWN and self.best else status)

    def _limit(self, solver: cp_model.CpSolver, until_frac: float) -> None:
        if self.seconds is not None:
            left_s = until_frac * self.seconds - self.elapsed_s()
            solver.parameters.max_time_in_seconds = max(0.05, left_s)
        if self.iterations is not None:
            solver.parameters.max_deterministic_time = WHOLE_WORK
            solver.parameters.interleave_search = self.workers > 1

    def _watched(self, solver: cp_model.CpSolver) -> int:
        ended = Event()

        def stop_when_asked() -> None:
            while not ended.wait(_ASKS_EVERY_S):
                if self.stop.is_set():
                    solver.stop_search()
                    return

        thread = Thread(target=stop_when_asked)
        thread.start()
        try:
            return int(solver.solve(self.main.model, _Watch(self)))
        finally:
            ended.set()
            thread.join()

    def _begin(self, start: Sequence[Assignment]) -> None:
        """Walk down from a roster, or from rows given one after the other, and hint what is met."""
        main, walk = self.main, self.walks[0]
        given = [(main.person_index[a.person], main.day_of(a.on), a.kind) for a in start]
        worked = {*given, *((*k, a.skill) for k, a in zip(given, start, strict=True))}
        worked &= self.parts[0].literals.keys()
        if walk.is_able:
            if start:
                walk.begin(worked)
            else:
                walk.first(int(self.rng.integers(2**31)))
            for _ in range(DESCENTS):
                walk.go(int(self.rng.integers(2**31)), SLICE_MOVES, 1.0)
            worked = walk.keys
            if walk.best_cost < HARD / 100:
                self._take_keys(worked)
        if worked:
            for key, literal in main.x.items():
                main.model.add_hint(literal, key in worked)

    def _solver(self, workers: int) -> cp_model.CpSolver:
        return _solver(workers, int(self.rng.integers(2**31)))

    def _take(self, values: list[int], cost: int) -> None:
        is_better = not self.best or cost < self.best_cost
        self.best, self.best_cost = values, cost
        if is_better:
            self.tell(cost, self.bound)

    def tell(self, cost: float, bound: float) -> None:
        """Report a roster's cost, in the solver's units."""
        if self.on_progress is not None:
            gap_frac = max(0.0, cost - bound) / cost if cost > 0 else 0.0
            told = Progress(self.elapsed_s(), cost / SCALE, bound / SCALE, gap_frac)
            self.on_progress(told)

    def _improve(self, pool: Executor, until_frac: float) -> None:
        whole = len(self.problem.people) * self.problem.n_days
        size = float(min(whole, 4 * SMALLEST_PART))
        n = 0
        while self._goes_on(until_frac) and (self.iterations is None or n < self.iterations):
            n += 1
            limit_s = max(0.01, self.left_s())
            tasks = [
                pool.submit(
                    part.solve,
                    self.best,
                    self._part(size),
                    int(self.rng.integers(2**31)),
                    limit_s,
                )
                for part in self.parts
            ]
            results = [task.result() for task in tasks]
            found = [r for r in results if r.values and r.cost <= self.best_cost]
            if found:
                best = min(found, key=lambda r: r.cost)
                self._take(best.values, best.cost)
            done = sum(r.is_done for r in results) * 2 > len(results)
            size = min(whole, max(SMALLEST_PART, size * (_GREW if done else _SHRANK)))

    def _raise_bound(self, pool: Executor) -> None:
        n = 0
        while self._goes_on(PRICES_UNTIL_FRAC) and (self.iterations is None or n < COLUMN_ROUNDS):
            n += 1
            seed = int(self.rng.integers(2**31))
            self.columns.raise_bound(pool, seed, float(self.best_cost))
            self._take_bound()
            if self.columns.prices.is_done:
                break

    def _take_bound(self) -> None:
        bound = self._rounded_up(self.columns.bound)
        if bound > self.bound:
            self.bound = bound
            self.tell(self.best_cost, bound)

    def _use_columns(self, pool: Executor) -> None:
        """Solve the program over rows, unless that takes too long."""
        columns = self.columns
        columns.begin(self._true())
        columns.take_newest()
        if self.seconds is not None:
            columns.lp.SetTimeLimit(round(1000 * ROUND_MOST_S))
        n = 0
        while self._goes_on(COLUMNS_UNTIL_FRAC) and (self.iterations is None or n < COLUMN_ROUNDS):
            n += 1
            begun_s = self.elapsed_s()
            is_more = columns.step(pool, int(self.rng.integers(2**31)))
            self._take_bound()
            if self.seconds is not None and self.elapsed_s() - begun_s > ROUND_MOST_S:
                self.has_choice = False
                break
            if not is_more or self.bound >= columns.value:
                break

    def _true(self) -> set[Key]:
        """Return the true keys of the best roster."""
        return {key for key, lit in self.parts[0].literals.items() if self.best[lit.index]}

    def _walk(self, pool: Executor, until_frac: float, warm_frac: float) -> None:
        """Walk over rosters while it grows colder, every worker on a walk of their own."""
        if not self.walks[0].is_able or not self._goes_on(until_frac):
            return
        begun_s = self.elapsed_s()
        for walk in self.walks:
            walk.begin(self._true())
        warmth = warm_frac * self.walks[0].warmth(int(self.rng.integers(2**31)))
        n, moves, done_frac = 0, SLICE_MOVES, 0.0
        while self._goes_on(until_frac) and done_frac < 1 and not self._is_near(WALK_GAP_FRAC):
            slice_s = self._walk_on(pool, moves, warmth * COLDEST_FRAC**done_frac)
            n += 1
            if self.iterations is not None:
                done_frac = n / self.iterations
            else:
                moves = max(1, min(4 * moves, round(moves * SLICE_S / max(slice_s, 1e-3))))
            if self.seconds is not None:
                span_s = until_frac * self.seconds - begun_s
                done_frac = max(done_frac, (self.elapsed_s() - begun_s) / max(span_s, 1e-3))

    def _walk_on(self, pool: Executor, moves: int, temperature: float) -> float:
        """Make moves, and take the best roster if it is better; return the time it took [s]."""
        begun_s = self.elapsed_s()
        seeds = self.rng.integers(2**31, size=len(self.walks)).tolist()
        tasks = [
            pool.submit(walk.go, seed, moves, temperature)
            for walk, seed in zip(self.walks, seeds, strict=True)
        ]
        for task in tasks:
            task.result()
        slice_s = self.elapsed_s() - begun_s
        best = min(self.walks, key=lambda walk: walk.best_cost)
        if best.best_cost < self.best_cost - 0.5:
            self._take_keys(best.keys)
            if self.has_choice:
                self.columns.begin(best.keys)
        return slice_s

    def _is_near(self, gap_frac: float) -> bool:
        return self.has_choice and self.best_cost - self.bound <= gap_frac * self.best_cost

    def _choose(self, pool: Executor) -> None:
        """Take the best mixture of rows, those that the walks found included."""
        columns = self.columns
        if self.has_choice and self._goes_on(CHOICE_UNTIL_FRAC):
            left_s = 1e9
            if self.seconds is not None:
                left_s = CHOICE_UNTIL_FRAC * self.seconds - self.elapsed_s()
            nodes = None if self.iterations is None else CHOICE_NODES
            spread = SPREAD_FRAC * (self.best_cost - columns.bound)
            for seed in self.rng.integers(2**31, size=N_VARIED).tolist():
                columns.vary(pool, seed, spread)
            limit_s = min(left_s, CHOICE_MOST_S)
            chosen = columns.choose(self.best_cost, limit_s, nodes, lambda: not self.stop.is_set())
            if chosen is not None:
                self._take_keys(columns.keys_of(chosen))

    def _take_keys(self, keys: set[Key]) -> None:
        """Take a roster given by its true keys, if it is one and better."""
        values = [0] * len(self.main.model.proto.variables)
        for key in keys:
            values[self.parts[0].literals[key].index] = 1
        result = self.parts[0].solve(values, set(), 0, max(1.0, self.left_s()))
        if result.values and (not self.best or result.cost < self.best_cost):
            self._take(result.values, result.cost)

    def _rounded_up(self, bound: float) -> int:
        """No cost lies between multiples of what all prices are multiples of."""
        step = int(np.gcd.reduce([c for c, _ in self.main.costs] or [1])) or 1
        rest = self.main.constant_cost % step
        return _floor(np.ceil((bound - rest) / step - 1e-6) * step + rest)

    def _goes_on(self, until_frac: float) -> bool:
        is_time = self.seconds is None or self.elapsed_s() < until_frac * self.seconds
        return is_time and not self.stop.is_set() and self.best_cost > self.bound

    def _part(self, size: float) -> set[tuple[int, int]]:
        """Choose people and days, about `size` of their pairs."""
        n_people, n_days = len(self.problem.people), self.problem.n_days
        shape = int(self.rng.integers(3))
        if shape == 0:  # all people on neighbouring days
            n = max(1, min(n_days, round(size / n_people)))
            people = np.arange(n_people)
        elif shape == 1:  # some people on all days
            n = n_days
            people = self._some_people(max(2, round(size / n_days)))
        else:  # some people on neighbouring days
            n = int(self.rng.integers(min(4, n_days), n_days + 1))
            people = self._some_people(max(2, round(size / n)))
        first = int(self.rng.integers(1 - n // 2, max(2 - n // 2, n_days - n + 1 + n // 2)))
        days = range(max(0, first), min(n_days, first + n))
        return {(int(p), d) for p in people for d in days}

    def _some_people(self, n: int) -> Any:
        n_people = len(self.problem.people)
        return self.rng.choice(n_people, size=min(n, n_people), replace=False)

    def _solution(self) -> Solution:
        assignments = self.main.assignments(self.best)
        score = score_roster(self.problem, assignments)
        is_proved = self.best_cost <= self.bound
        status = Status.OPTIMAL if is_proved else Status.FEASIBLE
        bound_cost = score.total_cost if is_proved else min(self.bound / SCALE, score.total_cost)
        return Solution(status, assignments, score, bound_cost)


def _solver(workers: int, seed: int) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    solver.parameters.linearization_level = 2  # runs are clauses, weak without
    solver.parameters.catch_sigint_signal = False  # Ctrl-C is the command's to answer
    return solver


def _floor(bound: float) -> int:
    return int(np.ceil(bound - 1e-6)) if np.isfinite(bound) else 0


class _Watch(cp_model.CpSolverSolutionCallback):
    def __init__(self, search: _Search) -> None:
        super().__init__()
        self.search = search

    def on_solution_callback(self) -> None:
        self.search.tell(self.objective_value, self.best_objective_bound)


@dataclass(frozen=True, slots=True)
class _Result:
    values: list[int]
    cost: int
    is_done: bool


class _Part:
    """A model of its own, in which all but a part is held."""

    def __init__(self, problem: Problem) -> None:
        self.roster = RosterModel(problem)
        proto = self.roster.model.proto
        self.literals: dict[Key, Any] = {**self.roster.x, **self.roster.y}
        self.domains = {
            literal.index: proto.variables[literal.index].domain
            for literal in self.literals.values()
        }
        self.keys = [(literal.index, key[:2]) for key, literal in self.literals.items()]

    def solve(
        self, values: Sequence[int], free: set[tuple[int, int]], seed: int, limit_s: float
    ) -> _Result:
        """Solve the part anew, starting from the values that stand."""
        model = self.roster.model
        for index, key in self.keys:
            low, high = (0, 1) if key in free else (values[index], values[index])
            self.domains[index][0], self.domains[index][1] = low, high
        model.clear_hints()  # type: ignore[no-untyped-call]  # the solver's own gap
        for index, key in self.keys:
            if key in free:
                model.add_hint(model.get_bool_var_from_proto_index(index), values[index])
        solver = _solver(1, seed)
        solver.parameters.max_deterministic_time = PART_WORK
        solver.parameters.max_time_in_seconds = limit_s
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return _Result([], 0, status == cp_model.INFEASIBLE)
        found = list(solver.response_proto.solution)
        return _Result(found, round(solver.objective_value), status == cp_model.OPTIMAL)
