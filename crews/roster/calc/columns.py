"""A strong bound, and whole rows of people to choose from: column generation.

What people share (demand, crews, fairness) is a linear program over rows, a row being all shifts of
one person; for its dual prices each person's best row is found under that person's own rules. The
program's value and the best rows' reduced costs bound every roster from below.

References
----------
Barnhart, C. et al., Branch-and-price: column generation for solving huge integer programs,
Operations Research 46(3), 1998.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp
from ortools.sat.python import cp_model
from scipy import sparse

from crews.roster.calc.choice import choose
from crews.roster.calc.linear import rows_of
from crews.roster.calc.lines import LineGraph, line_graph
from crews.roster.calc.model import RosterModel
from crews.roster.calc.model_rules import SCALE
from crews.roster.calc.prices import Prices
from crews.roster.calc.problem import Contract, Demand, Person, Problem, Rule

_PRICING_WORK = 2.0  # deterministic seconds for one person's row
_STEADY_SHARE = 0.6  # of the best bound's prices
_NEWEST = 10  # bounds whose rows are kept
_TOLERANCE = 0.5  # in the solver's units, ten thousandths of the farm's


Key = tuple[Any, ...]  # of `RosterModel.x` and `y`


@dataclass(frozen=True, slots=True)
class Column:
    """One person's row: what it costs by their own rules, and which of their variables are true."""

    person: int
    cost: int
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Priced:
    columns: list[Column]
    least_reduced: float


class PersonRows:
    """The best row of one person, at prices for each of their shifts."""

    def __init__(self, problem: Problem, p: int, index_of: dict[Key, int]) -> None:
        self.p = p
        self.roster = RosterModel(_alone(problem, problem.people[p]))
        keys: dict[Key, Any] = {**self.roster.x, **self.roster.y}
        self.places = [(literal, index_of[p, *key[1:]]) for key, literal in keys.items()]

    def own_cost(self, values: Sequence[int]) -> int:
        """Cost of a row by the person's own rules, in the solver's units."""
        costs = sum(c * int(values[v.index]) for c, v in self.roster.costs)
        return costs + self.roster.constant_cost

    def column_of(self, places: set[int]) -> Column | None:
        """Return a row as a column, priced; none when the person's rules forbid it."""
        model = self.roster.model
        model.clear_hints()  # type: ignore[no-untyped-call]  # the solver's own gap
        prices = np.full(1 + max((place for _, place in self.places), default=0), -1e6)
        prices[list(places)] = 1e6
        priced = self.best(prices, 0)
        return priced.columns[-1] if priced.columns else None

    def best(self, price: NDArray[np.float64], seed: int) -> _Priced:
        """Find rows of low reduced cost, the last of them the lowest."""
        roster = self.roster
        # Rounded up, so that the bound stays one.
        reward = [(int(np.ceil(price[place])), literal) for literal, place in self.places]
        terms = [*roster.costs, *((-price, literal) for price, literal in reward if price)]
        roster.model.minimize(sum(c * v for c, v in terms) + roster.constant_cost)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = seed
        solver.parameters.linearization_level = 2
        solver.parameters.cp_model_presolve = False  # takes longer than one row's search
        solver.parameters.catch_sigint_signal = False
        solver.parameters.max_deterministic_time = _PRICING_WORK
        status = solver.solve(roster.model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return _Priced([], float("-inf"))
        values = list(solver.response_proto.solution)
        places = tuple(place for literal, place in self.places if values[literal.index])
        column = Column(self.p, self.own_cost(values), places)
        return _Priced([column], solver.best_objective_bound)


class PersonLines:
    """The best row of one person, by the graph of their lines of shifts."""

    def __init__(
        self, problem: Problem, p: int, index_of: dict[Key, int], graph: LineGraph
    ) -> None:
        self.p = p
        self.graph = graph
        self.name = problem.people[p].id
        choice_of = {kind.id: choice for choice, kind in enumerate(problem.kinds, 1)}
        shape = (problem.n_days, len(problem.kinds) + 1)
        self.own = _own_prices(problem, problem.people[p], shape)
        self.place = np.full(shape, -1)  # of `RosterModel.x`
        self.worked_as: list[tuple[int, int, int]] = []  # day, choice, place of `RosterModel.y`
        for key, place in index_of.items():
            if key[0] == p and len(key) == 3:
                self.place[key[1], choice_of[key[2]]] = place
            elif key[0] == p:
                self.worked_as.append((key[1], choice_of[key[2]], place))
        self.is_open = self.place >= 0
        self.is_open[:, 0] = True
        for given in problem.fixed:
            if given.person == self.name and given.kind is not None:
                self.is_open[(given.on - problem.starts_on).days, 0] = False

    def column_of(self, places: set[int]) -> Column | None:
        """Return a row as a column, priced; none when the person's rules forbid it."""
        is_it = np.isin(self.place, list(places))
        is_it[:, 0] = ~is_it[:, 1:].any(axis=1)
        cost = self.cost_of(is_it.argmax(axis=1))
        mine = {int(place) for place in self.place[is_it] if place >= 0}
        mine |= {place for *_, place in self.worked_as if place in places}
        return Column(self.p, cost, tuple(sorted(mine))) if cost is not None else None

    def cost_of(self, row: NDArray[np.int64]) -> int | None:
        """What a choice for each day costs; none when the person's rules forbid it."""
        is_it = row[:, None] == np.arange(self.own.shape[1])
        price = np.where(is_it & self.is_open, self.own, np.inf)
        choices, total, _ = self.graph.cheapest(self.name, price)
        return round(total) if len(choices) else None

    def best(self, price: NDArray[np.float64], seed: int) -> _Priced:
        """Find the row of the lowest reduced cost; `seed` is for who must search."""
        reward = np.where(self.place >= 0, price[self.place], 0.0)
        skill: dict[tuple[int, int], int] = {}
        for day, choice, place in self.worked_as:
            if price[place] > (price[skill[day, choice]] if (day, choice) in skill else 0.0):
                skill[day, choice] = place
        for at, place in skill.items():
            reward[at] += price[place]
        prices = np.where(self.is_open, self.own - reward, np.inf)
        choices, total, cost = self.graph.cheapest(self.name, prices)
        if not len(choices):
            return _Priced([], float("-inf"))
        days = np.arange(len(choices))
        own = cost + round(self.own[days, choices].sum())
        worked = [int(place) for place in self.place[days, choices] if place >= 0]
        as_what = [skill[day, c] for day, c in enumerate(choices.tolist()) if (day, c) in skill]
        return _Priced([Column(self.p, own, tuple(sorted([*worked, *as_what])))], total)


def _own_prices(problem: Problem, person: Person, shape: tuple[int, int]) -> NDArray[np.float64]:
    """What the person's wishes and published days cost, by day and choice."""
    kinds = [None, *(kind.id for kind in problem.kinds)]
    own = np.zeros(shape)
    for wish in problem.wishes:
        if wish.person == person.id:
            so = np.array([k is not None and wish.kind in (None, k) for k in kinds])
            day = (wish.on - problem.starts_on).days
            own[day] += round(wish.price * SCALE) * (so == wish.is_off)
    for given in problem.published:
        if given.person == person.id:
            day = (given.on - problem.starts_on).days
            own[day] += round(problem.change_price * SCALE) * (np.array(kinds) != given.kind)
    return own


def _people(problem: Problem, index_of: dict[Key, int]) -> list[PersonLines | PersonRows]:
    """Return who finds each person's rows: by a graph, or where that is too large by search."""
    rules = {contract.id: contract.rules for contract in problem.contracts}
    alike: dict[tuple[Rule, ...], list[int]] = {}
    for p, person in enumerate(problem.people):
        alike.setdefault(rules[person.contract], []).append(p)
    found: dict[int, PersonLines | PersonRows] = {}
    for members in alike.values():
        first = problem.people[members[0]]
        graph = line_graph(problem, rules[first.contract], [problem.people[p] for p in members])
        for p in members:
            is_known = graph is not None and problem.people[p].id in graph.start
            found[p] = (
                PersonLines(problem, p, index_of, graph)
                if graph is not None and is_known
                else PersonRows(problem, p, index_of)
            )
    return [found[p] for p in range(len(problem.people))]


class Columns:
    """The linear program over rows, which grows by those that would lower it."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.shared = RosterModel(_together(problem))
        keys: dict[Key, Any] = {**self.shared.x, **self.shared.y}
        self.index_of = {key: literal.index for key, literal in keys.items()}
        self.people = _people(problem, self.index_of)
        sums = self.shared.sums()
        rows = rows_of(self.shared.model).without(sums)
        person_of = {literal.index: key[0] for key, literal in keys.items()}
        self.rows = rows.shared_by(person_of)
        self.by_place = sparse.csc_matrix(self.rows.matrix)
        self.known: set[Column] = set()
        self.columns: list[Column] = []
        self.weights: list[Any] = []  # the program's variable of each
        self.bound = float("-inf")
        self.value = float("inf")  # of the program as it was solved last
        self.centre: tuple[Any, float] | None = None  # duals of the best bound, and their share
        self.price, self.least = np.zeros(0), np.zeros(0)  # at the best bound
        self.newest: deque[list[Column]] = deque(maxlen=_NEWEST)
        self.is_steady = True
        self.prices = Prices(self.rows, {*person_of, *sums})
        self._build({*person_of, *sums})

    def _build(self, places: set[int]) -> None:
        self.lp = pywraplp.Solver.CreateSolver("GLOP")
        rows = self.rows
        bounds = zip(rows.low, rows.high, strict=True)
        self.row_of = [self.lp.Constraint(low, high) for low, high in bounds]
        self.one_of = [self.lp.Constraint(1, 1) for _ in self.people]
        objective = self.lp.Objective()
        objective.SetMinimization()
        objective.SetOffset(rows.offset)
        for index in range(rows.matrix.shape[1]):
            if index not in places:
                low, high = rows.lower[index], rows.upper[index]
                variable = self.lp.NumVar(low, high, "")
                objective.SetCoefficient(variable, rows.cost[index])
                for r, value in self._entries(index):
                    self.row_of[r].SetCoefficient(variable, value)
        self.objective = objective

    def _entries(self, index: int) -> list[tuple[int, float]]:
        start, end = self.by_place.indptr[index], self.by_place.indptr[index + 1]
        pairs = zip(self.by_place.indices[start:end], self.by_place.data[start:end], strict=True)
        return [(int(r), float(value)) for r, value in pairs]

    def add(self, column: Column) -> bool:
        """Add a row to choose from; false when it is there already."""
        if column in self.known:
            return False
        self.known.add(column)
        self.columns.append(column)
        variable = self.lp.NumVar(0, self.lp.infinity(), "")
        self.weights.append(variable)
        # What a place costs in the shared objective is 0: wishes are each person's own.
        self.objective.SetCoefficient(variable, column.cost)
        self.one_of[column.person].SetCoefficient(variable, 1)
        sums: dict[int, float] = {}
        for place in column.places:
            for r, value in self._entries(place):
                sums[r] = sums.get(r, 0.0) + value
        for r, value in sums.items():
            self.row_of[r].SetCoefficient(variable, value)
        return True

    def raise_bound(self, pool: Executor, seed: int, target: float) -> None:
        """Move the prices towards a cost, without the program; take the rows of a better bound."""
        prices = self.prices
        price = prices.at_places()
        found = list(pool.map(lambda rows: rows.best(price, seed), self.people))
        shared, values = prices.shared()
        columns = [column for one in found for column in one.columns]
        values[[place for column in columns for place in column.places]] = 1.0
        bound = shared + sum(one.least_reduced for one in found)
        if self._is_better(bound, price, found):
            self.centre = (prices.duals, shared)
            self.newest.append(columns)
        prices.step(bound, values, target)

    def _is_better(
        self, bound: float, price: NDArray[np.float64], found: Sequence[_Priced]
    ) -> bool:
        """Keep a better bound, and what each person's cheapest row adds to it."""
        if bound <= self.bound:
            return False
        self.bound, self.price = bound, price
        self.least = np.array([one.least_reduced for one in found])
        return True

    def take_newest(self) -> None:
        """Add the rows of the newest bounds."""
        for column in (column for columns in self.newest for column in columns):
            self.add(column)

    def vary(self, pool: Executor, seed: int, spread: float) -> None:
        """Add rows that are nearly the cheapest: best at prices beside those of the best bound."""
        noise = np.random.default_rng(seed).normal(0.0, spread, len(self.price))
        for found in pool.map(lambda rows: rows.best(self.price + noise, seed), self.people):
            for column in found.columns:
                self.add(column)

    def _below(self, cost: float) -> list[Column]:
        """Return the rows that a roster cheaper than a cost may have."""
        room = cost - self.bound
        return [
            column
            for column in self.columns
            if column.cost - self.price[list(column.places)].sum() - self.least[column.person]
            < room
        ]

    def step(self, pool: Executor, seed: int) -> bool:
        """Solve the program, find better rows, raise the bound; false when there are none.

        Prices lie between those of the program and those of the best bound so far, which swing
        less; only prices of the program itself can say that no row is better.
        """
        if self.lp.Solve() != pywraplp.Solver.OPTIMAL:
            return False
        duals = np.array([row.dual_value() for row in self.row_of])
        ones = [row.dual_value() for row in self.one_of]
        self.value = float(self.objective.Value())
        shared = self.value - sum(ones)  # concave in the duals
        share = _STEADY_SHARE if self.is_steady and self.centre is not None else 0.0
        if self.centre is not None:
            duals = share * self.centre[0] + (1 - share) * duals
            shared = share * self.centre[1] + (1 - share) * shared
        price = self.by_place.T @ duals
        found = list(pool.map(lambda rows: rows.best(price, seed), self.people))
        bound = shared + sum(one.least_reduced for one in found)
        if self._is_better(bound, price, found):
            self.centre = (duals, shared)
        new = [self.add(column) for one in found for column in one.columns]
        is_more = any(new) or share > 0
        self.is_steady = any(new)
        return is_more and self.bound < self.value - _TOLERANCE

    def choose(
        self, below: float, limit_s: float, node_limit: int | None, goes_on: Callable[[], bool]
    ) -> set[Column] | None:
        """Choose a row for everybody among those there are; none cheaper than `below`: none."""
        columns = self._below(below)
        rows, n, beside = self.rows, len(columns), self.prices.beside
        places = [(place, k) for k, column in enumerate(columns) for place in column.places]
        of_place, of_column = zip(*places, strict=True) if places else ((), ())
        shape = (rows.matrix.shape[1], n)
        held = sparse.csr_matrix((np.ones(len(places)), (of_place, of_column)), shape=shape)
        people = ([column.person for column in columns], np.arange(n))
        one = sparse.csr_matrix((np.ones(n), people), shape=(len(self.people), n))
        none = sparse.csr_matrix((len(self.people), len(beside)))
        matrix = sparse.bmat([[self.by_place[:, beside], rows.matrix @ held], [none, one]], "csr")
        ones, costs = np.ones(len(self.people)), [float(column.cost) for column in columns]
        vectors = {
            "low": np.concatenate([rows.low, ones]),
            "high": np.concatenate([rows.high, ones]),
            "lower": np.concatenate([rows.lower[beside], np.zeros(n)]),
            "upper": np.concatenate([rows.upper[beside], np.ones(n)]),
            "cost": np.concatenate([rows.cost[beside], costs]) / SCALE,
            "integrality": np.concatenate([np.zeros(len(beside)), np.ones(n)]),
        }
        found = choose(matrix, vectors, limit_s=limit_s, node_limit=node_limit, goes_on=goes_on)
        if found is None:
            return None
        return {columns[k] for k in np.flatnonzero(found[len(beside) :] > 1 / 2)}

    def begin(self, true: set[Key]) -> None:
        """Add the rows of a roster, given by its true keys of `RosterModel.x` and `y`."""
        for rows in self.people:
            places = {self.index_of[key] for key in true if key[0] == rows.p}
            column = rows.column_of(places)
            if column is not None:
                self.add(column)

    def keys_of(self, columns: Iterable[Column]) -> set[Key]:
        """Return the true keys of `RosterModel.x` and `y` in rows."""
        true = {place for column in columns for place in column.places}
        return {key for key, index in self.index_of.items() if index in true}


def _alone(problem: Problem, person: Person) -> Problem:
    """What concerns one person alone; demand only names the skills worked."""
    return replace(
        problem,
        people=(person,),
        demand=tuple(Demand(d.on, d.kind, d.skill) for d in problem.demand),
        wishes=tuple(w for w in problem.wishes if w.person == person.id),
        crews=(),
        fairness=(),
        fixed=tuple(g for g in problem.fixed if g.person == person.id),
        published=tuple(g for g in problem.published if g.person == person.id),
    )


def _together(problem: Problem) -> Problem:
    """What people share, without anybody's own rules."""
    contracts = tuple(Contract(contract.id) for contract in problem.contracts)
    kinds = tuple(replace(kind, not_next=()) for kind in problem.kinds)
    return replace(problem, kinds=kinds, contracts=contracts, wishes=(), published=())
