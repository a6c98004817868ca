"""Good rosters fast: a few people's rows are taken out and put back, over and over.

Whoever's row is out finds the best one for what the others leave, by the graph of their contract's
lines. A roster that costs more is kept by a chance that falls: simulated annealing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, time

import numpy as np
from numpy.typing import NDArray

from crews.roster.calc.columns import Columns, Key, PersonLines, PersonRows
from crews.roster.calc.model_rules import SCALE
from crews.roster.calc.problem import Contract, Demand, Person, Problem, ShiftKind
from crews.roster.calc.refit_loops import (
    HARD,
    Crews,
    Given,
    Heads,
    Lines,
    Rows,
    Shares,
    State,
    Work,
    first_rows,
    put,
    refit,
    sample,
    total_cost,
)

_PCT = 100
_FAR = 1e12
_SAMPLE = 200  # moves
_WARM = 0.2  # of the median move that costs more


class Facts:
    """A problem as arrays, shared by all walks over its rosters."""

    def __init__(self, problem: Problem, people: Sequence[PersonLines | PersonRows]) -> None:
        self.problem = problem
        self.people = people
        self.kinds = [kind.id for kind in problem.kinds]
        self.shape = (len(people), problem.n_days, len(self.kinds) + 1)
        cells = [(d.on - problem.starts_on).days * self.shape[2] for d in problem.demand]
        cells = [
            at + 1 + self.kinds.index(d.kind) for at, d in zip(cells, problem.demand, strict=True)
        ]
        self.order = np.argsort(np.array(cells, np.int64), kind="stable")
        self.demand = [problem.demand[n] for n in self.order]
        self.place = {(d.on, d.kind, d.skill): i for i, d in enumerate(self.demand)}
        self.given = Given(
            _lines(people, self.shape),
            self._heads(np.array(cells, np.int64)),
            _crews(problem),
            _shares(problem, self.shape),
        )

    @property
    def is_whole(self) -> bool:
        """Whether everybody can be given a row."""
        return len(self.given.lines.movable) == len(self.people)

    def _heads(self, cells: NDArray[np.int64]) -> Heads:
        problem, demand = self.problem, self.demand
        n_cells = self.shape[1] * self.shape[2]
        least = [_PCT * d.least for d in demand]
        most = [_FAR if d.most is None else _PCT * d.most for d in demand]
        target = [_PCT * (d.target or 0) for d in demand]
        weight = [
            [problem.head_pct(p, d.on) * p.holds(d.skill, d.on) for d in demand]
            for p in problem.people
        ]
        return Heads(
            np.searchsorted(cells[self.order], np.arange(n_cells + 1)),
            np.array(target, float),
            np.array(least, float),
            np.array(most, float),
            np.array([SCALE / _PCT * d.price_under for d in demand]),
            np.array([SCALE / _PCT * d.price_over for d in demand]),
            HARD / _PCT,
            np.array([problem.is_one_skill_a_shift and d.skill is not None for d in demand], bool),
            np.array(weight, np.int64).reshape(len(self.people), len(demand)),
        )

    def keys_of(self, rows: Rows) -> Iterator[Key]:
        """Return the true keys of `RosterModel.x` and `y`."""
        for p, day in zip(*np.nonzero(rows.row), strict=True):
            kind = self.kinds[rows.row[p, day] - 1]
            yield int(p), int(day), kind
            if rows.named[p, day] >= 0:
                yield int(p), int(day), kind, self.demand[rows.named[p, day]].skill


class Walk:
    """One walk over rosters: where it stands, and the best it saw."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.state, self.best = _empty(facts), _rows(*facts.shape[:2])
        self.work = _work(facts)
        self.best_cost = np.inf

    def begin(self, true: Iterable[Key]) -> None:
        """Stand at a roster, given by its true keys of `RosterModel.x` and `y`."""
        facts, state = self.facts, _empty(self.facts)
        days = facts.problem.days
        for p, day, kind, *skill in true:
            state.row[p, day] = facts.kinds.index(kind) + 1
            if skill:
                state.named[p, day] = facts.place[days[day], kind, skill[0]]
        for p in facts.given.lines.movable.tolist():
            rows = facts.people[p]
            assert isinstance(rows, PersonLines)
            cost = rows.cost_of(state.row[p])
            state.own_cost[p] = HARD if cost is None else cost
        for p in range(len(state.own_cost)):
            put(facts.given, state, p, 1)
        self._stand(state)

    def first(self, seed: int) -> None:
        """Stand at rows given one after the other."""
        state = _empty(self.facts)
        first_rows(self.facts.given, state, self.work, seed)
        self._stand(state)

    def _stand(self, state: State) -> None:
        self.state = state
        self.best_cost = total_cost(self.facts.given, state)
        for best, now in zip(self.best, state, strict=False):
            best[:] = now

    @property
    def is_able(self) -> bool:
        """Whether everybody can be given a row."""
        return self.facts.is_whole

    def go(self, seed: int, n_moves: int, temperature: float) -> None:
        """Make moves."""
        run = (seed, n_moves, temperature, self.best_cost)
        self.best_cost = refit(self.facts.given, self.state, self.work, self.best, run)

    def warmth(self, seed: int) -> float:
        """Return a temperature at which moves are undone often, and not always."""
        changes = np.zeros(_SAMPLE)
        sample(self.facts.given, self.state, self.work, seed, changes)
        worse = changes[changes > 1 / 2]
        return max(1.0, _WARM * float(np.median(worse))) if len(worse) else 1.0

    @property
    def keys(self) -> set[Key]:
        """True keys of the best roster."""
        return set(self.facts.keys_of(self.best))


def _rows(n_people: int, n_days: int) -> Rows:
    shape = (n_people, n_days)
    return Rows(np.zeros(shape, np.int64), np.full(shape, -1), np.zeros(n_people))


def _empty(facts: Facts) -> State:
    n_people, n_days, n_choices = facts.shape
    crew = (len(facts.problem.crews), n_days, n_choices)
    return State(
        *_rows(n_people, n_days),
        np.zeros(len(facts.demand), np.int64),
        np.zeros(crew, np.int64),
        np.zeros(crew, np.int64),
        np.array(
            [
                [p.carried.get(s.id, 0) for p in facts.problem.people]
                for s in facts.problem.fairness
            ],
            np.int64,
        ).reshape(len(facts.problem.fairness), n_people),
    )


def _work(facts: Facts) -> Work:
    n_people, n_days, n_choices = facts.shape
    n_movable = len(facts.given.lines.movable)
    return Work(
        np.zeros((n_days, n_choices)),
        np.full((n_days, n_choices), -1),
        np.zeros(len(facts.given.lines.next_state)),
        np.zeros(n_people, np.int64),
        np.arange(n_movable),
        _rows(n_people, n_days),
    )


def _lines(people: Sequence[PersonLines | PersonRows], shape: tuple[int, int, int]) -> Lines:
    known = {p: rows for p, rows in enumerate(people) if isinstance(rows, PersonLines)}
    graphs = list({id(rows.graph): rows.graph for rows in known.values()}.values())
    number = {id(graph): n for n, graph in enumerate(graphs)}
    offset = np.cumsum([0, *(len(graph.next_state) for graph in graphs)])
    own = np.full(shape, np.inf)
    graph_of, start, due = (np.zeros(len(people), np.int64) for _ in range(3))
    for p, rows in known.items():
        n = number[id(rows.graph)]
        state, due[p] = rows.graph.start[rows.name]
        graph_of[p], start[p] = n, state + offset[n]
        own[p] = np.where(rows.is_open, rows.own, np.inf)
    after = [np.zeros((0, shape[2]), np.int32)]
    after += [
        np.where(g.next_state < 0, -1, g.next_state + o)
        for g, o in zip(graphs, offset, strict=False)
    ]
    return Lines(
        np.concatenate(after).astype(np.int32),
        np.concatenate([after[0].astype(np.uint16), *(graph.cost_code for graph in graphs)]),
        np.concatenate([np.zeros(0), *(graph.costs for graph in graphs)]),
        np.cumsum([0, *(len(graph.costs) for graph in graphs)]),
        np.array(
            [graph.first + o for graph, o in zip(graphs, offset, strict=False)], np.int64
        ).reshape(-1, shape[1] + 2),
        graph_of,
        start,
        due,
        own,
        np.array(list(known), np.int64),
    )


def _crews(problem: Problem) -> Crews:
    number = {person.id: p for p, person in enumerate(problem.people)}
    crews = problem.crews
    of: list[list[int]] = [[] for _ in number]
    is_lead = np.zeros((len(crews), len(number)), np.int64)
    for c, crew in enumerate(crews):
        for name in crew.people:
            of[number[name]].append(c)
            is_lead[c, number[name]] = name in crew.leads
    price = [HARD / SCALE if crew.lead_price is None else crew.lead_price for crew in crews]
    return Crews(
        np.cumsum([0, *(len(mine) for mine in of)]),
        np.array([c for mine in of for c in mine], np.int64),
        is_lead,
        np.array([SCALE * crew.apart_price for crew in crews], float),
        np.array([SCALE * p * bool(c.leads) for p, c in zip(price, crews, strict=True)], float),
    )


def _shares(problem: Problem, shape: tuple[int, int, int]) -> Shares:
    kinds = [None, *(kind.id for kind in problem.kinds)]
    shares = problem.fairness
    counts = np.zeros((len(shares), *shape[1:]), np.int64)
    is_in = np.zeros((len(shares), shape[0]), np.int64)
    for f, share in enumerate(shares):
        is_in[f] = [not share.people or person.id in share.people for person in problem.people]
        of_kind = [k is not None and (not share.kinds or k in share.kinds) for k in kinds]
        of_day = [not share.is_weekend or on.isoweekday() >= 6 for on in problem.days]
        counts[f] = np.outer(of_day, of_kind)
    price = np.array([SCALE * share.price for share in shares], float)
    return Shares(is_in, counts, price, is_in.sum(axis=1))


def use_once() -> float:
    """Walk over the rosters of a day, so that the loops are compiled; return the best cost."""
    on, people = date(2026, 6, 1), (Person("one", "all"), Person("two", "all"))
    day = Problem(
        starts_on=on,
        n_days=1,
        zone="UTC",
        kinds=(ShiftKind("day", time(6), 8 * 60),),
        contracts=(Contract("all"),),
        people=people,
        demand=(Demand(on, "day", target=1, price_under=1.0, price_over=1.0),),
    )
    walk = Walk(Facts(day, Columns(day).people))
    walk.first(0)
    walk.go(0, 1, walk.warmth(0))
    return walk.best_cost
