"""Every line of shifts that a contract allows, as a graph of states from day to day.

A state says all that the rest of a line depends on: a value for each rule (a run's length, what was
counted so far) and what was worked last. States of a day that nothing tells apart are one. The
cheapest line at prices for each day and kind is then one pass over the graph, backwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from crews.roster.calc.model_rules import SCALE
from crews.roster.calc.problem import (
    OFF,
    RUNS,
    Contract,
    Measure,
    Person,
    Problem,
    Rule,
    ShiftKind,
)
from equipment.site.calc.compiled import compiled_apart

MOST_STATES = 1_500_000  # of one contract, over all days
_MOST_CODE = 2.0**62
_MOST_COSTS = 2**16
FORBIDDEN = 2**60  # a cost
Values = NDArray[np.int64]


class _Part(Protocol):
    """What one rule has to remember."""

    n_values: int

    def start(self, person: Person) -> tuple[int, int]:
        """Value before the first day, and the cost that it brings."""

    def step(self, values: Values, day: int, choice: int) -> tuple[Values, Values]:
        """Values after a day, and what each costs or `FORBIDDEN`; choice 0 is a day off."""


class _Run:
    """Days in a row; values above the cap are those of a run that began before the known days."""

    def __init__(self, rule: Rule, counts: Sequence[bool], kinds: Sequence[str]) -> None:
        is_off = rule.measure == Measure.DAYS_OFF_IN_A_ROW
        self.is_run = [counted != is_off for counted in counts]
        self.choice_of = {OFF: 0, **{kind: n for n, kind in enumerate(kinds, 1)}}
        self.rule = rule
        self.least = rule.least or 0
        self.cap = max(self.least, rule.most or 0, 1)
        self.n_values = 2 * (self.cap + 1)

    def start(self, person: Person) -> tuple[int, int]:
        values = np.array([self.cap + 1])
        for kind in person.before:
            values = self.step(values, 0, self.choice_of[kind])[0]
        return int(values[0]), 0

    def step(self, values: Values, day: int, choice: int) -> tuple[Values, Values]:
        is_open = values > self.cap
        length = np.where(is_open, values - self.cap - 1, values)
        cost = np.zeros_like(values)
        price = self.rule.price
        if self.is_run[choice]:
            if self.rule.most is not None:
                over = length >= self.rule.most
                cost[over] = FORBIDDEN if price is None else round(price * SCALE)
            longer = np.minimum(length + 1, self.cap)
            return np.where(is_open, longer + self.cap + 1, longer), cost
        for short in range(1, self.least):
            is_short = ~is_open & (length == short)
            missing = self.least - short
            cost[is_short] = FORBIDDEN if price is None else round(price * missing * SCALE)
        return np.zeros_like(values), cost


class _Sum:
    """What adds up over a week or the period; above its cap only the cost goes on."""

    def __init__(self, rule: Rule, added: NDArray[np.int64], windows: Sequence[range]) -> None:
        self.rule = rule
        self.added = added  # by day and choice
        self.is_first = {window[0] for window in windows}
        self.is_last = {window[-1] for window in windows}
        # A cut week is held to its most alone.
        whole = [w for w in windows if len(w) == 7 or not rule.is_weekly]
        self.has_least = {day for window in whole for day in window}
        greatest = added.max(axis=1)
        self.left = {d: int(greatest[d + 1 : w[-1] + 1].sum()) for w in windows for d in w}
        self.cap = max(rule.least or 0, rule.most or 0)
        self.n_values = self.cap + 1

    def start(self, person: Person) -> tuple[int, int]:
        if self.rule.is_weekly:
            return 0, 0
        return _carried(self.rule, person, self.cap)

    def step(self, values: Values, day: int, choice: int) -> tuple[Values, Values]:
        least = self.rule.least if day in self.has_least else None
        new = values + self.added[day, choice]
        cost = _change(self.rule, least, values, new)
        if self.rule.is_weekly and day in self.is_first and self.rule.price is not None:
            cost += _price(self.rule) * (least or 0)
        if day in self.is_last:
            return np.zeros_like(values), _ended(self.rule, least, new, cost)
        left = self.left[day]
        if self.rule.price is None and least is not None:
            return np.minimum(new, self.cap), np.where(new + left < least, FORBIDDEN, cost)
        # What cannot get as far as a limit any more need not be told apart.
        limit = least if least is not None else self.rule.most
        floor = 0 if limit is None else limit - left
        return np.minimum(np.maximum(new, floor), self.cap), cost


class _Weekends:
    """Weekends with a shift, or with one on one of their days only."""

    def __init__(self, rule: Rule, counts: Sequence[bool], weekday: Sequence[int]) -> None:
        self.rule, self.counts, self.weekday = rule, counts, weekday
        self.cap = max(rule.least or 0, rule.most or 0)
        self.n_values = 2 * (self.cap + 1)

    def start(self, person: Person) -> tuple[int, int]:
        return _carried(self.rule, person, self.cap)

    def step(self, values: Values, day: int, choice: int) -> tuple[Values, Values]:
        was_saturday = values > self.cap
        counted = np.where(was_saturday, values - self.cap - 1, values)
        works, is_saturday = self.counts[choice], self.weekday[day] == 6
        if self.rule.measure == Measure.SPLIT_WEEKENDS:
            is_more = (was_saturday != works) & (self.weekday[day] == 7 and day > 0)
        else:
            is_more = ~was_saturday & (works and self.weekday[day] >= 6)
        new = counted + is_more
        cost = _change(self.rule, self.rule.least, counted, new)
        if day == len(self.weekday) - 1:
            return np.zeros_like(values), _ended(self.rule, self.rule.least, new, cost)
        return np.minimum(new, self.cap) + (self.cap + 1) * (works and is_saturday), cost


def _carried(rule: Rule, person: Person, cap: int) -> tuple[int, int]:
    counted = person.carried.get(rule.id, 0)
    over = max(0, counted - rule.most) if rule.most is not None else 0
    beside = over + max(0, (rule.least or 0) - counted)
    if rule.price is None:
        return min(max(counted, 0), cap), FORBIDDEN if over or counted < 0 else 0
    return min(max(counted, 0), cap), FORBIDDEN if counted < 0 else _price(rule) * beside


def _price(rule: Rule) -> int:
    return round((rule.price or 0) * SCALE)


def _change(rule: Rule, least: int | None, old: Values, new: Values) -> Values:
    """What the step from one count to the next costs; nearing the least earns."""
    if rule.price is None:
        over = new > rule.most if rule.most is not None else np.zeros(len(new), bool)
        return np.where(over, FORBIDDEN, 0)
    return _price(rule) * (_beside(rule, least, new) - _beside(rule, least, old))


def _beside(rule: Rule, least: int | None, counted: Values) -> Values:
    over = np.maximum(counted - rule.most, 0) if rule.most is not None else 0
    under = np.maximum(least - counted, 0) if least is not None else 0
    return np.asarray(over + under + np.zeros_like(counted))


def _ended(rule: Rule, least: int | None, counted: Values, cost: Values) -> Values:
    if rule.price is None and least is not None:
        return np.where(counted < least, FORBIDDEN, cost)
    return cost


class _Last:
    """What was worked yesterday and the day before, as far as it matters for what comes next."""

    def __init__(self, problem: Problem, rests: Sequence[Rule]) -> None:
        self.choice_of = {OFF: 0, **{kind.id: n for n, kind in enumerate(problem.kinds, 1)}}
        self.after = [_after(problem, rests, gap) for gap in (1, 2)]
        # Kinds after which all is the same are one.
        (_, of_1), (_, of_2) = (
            np.unique(table.transpose(1, 0, 2), axis=0, return_inverse=True) for table in self.after
        )
        self.class_of = [of_1.reshape(-1), of_2.reshape(-1)]
        both = self.class_of[0] * (self.class_of[1].max() + 1) + self.class_of[1]
        _, first, self.yesterday_of = np.unique(both, return_index=True, return_inverse=True)
        self.member = first  # a choice of each class
        self.n_yesterday = len(first)
        self.n_values = self.n_yesterday * int(self.class_of[1].max() + 1)
        self.member_2 = np.unique(self.class_of[1], return_index=True)[1]

    def start(self, person: Person) -> tuple[int, int]:
        values = np.array([self.yesterday_of[0]])
        for kind in person.before[-2:]:
            values = self.step(values, 0, self.choice_of[kind])[0]
        return int(values[0]), 0

    def step(self, values: Values, day: int, choice: int) -> tuple[Values, Values]:
        yesterday = self.member[values % self.n_yesterday]
        before = self.member_2[values // self.n_yesterday]
        costs = [self.after[0][day, yesterday, choice], self.after[1][day, before, choice]]
        cost = np.where(np.maximum(*costs) >= FORBIDDEN, FORBIDDEN, costs[0] + costs[1])
        return self.yesterday_of[choice] + self.n_yesterday * self.class_of[1][yesterday], cost


def _after(problem: Problem, rests: Sequence[Rule], gap: int) -> Values:
    """What a choice costs on a day, `gap` days after another one: day, other, choice."""
    n = len(problem.kinds) + 1
    cost = np.zeros((problem.n_days, n, n), np.int64)
    for day in range(problem.n_days):
        on = problem.starts_on + timedelta(days=day)
        for a, first in enumerate(problem.kinds, 1):
            end = problem.span(first, on - timedelta(days=gap))[1]
            for b, kind in enumerate(problem.kinds, 1):
                rest = problem.span(kind, on)[0] - end
                short = [r for r in rests if rest < timedelta(minutes=r.least or 0)]
                is_not_next = gap == 1 and kind.id in first.not_next
                is_forbidden = is_not_next or any(r.price is None for r in short)
                cost[day, a, b] = FORBIDDEN if is_forbidden else sum(map(_price, short))
    return cost


@dataclass(frozen=True, slots=True)
class LineGraph:
    """States of one contract, day after day, and where each choice leads.

    Parameters
    ----------
    next_state : ndarray, shape (n_states, n_kinds + 1)
        A state of the day after, or -1: not allowed.
    cost_code : ndarray, shape (n_states, n_kinds + 1)
        Place in `costs`, in the solver's units.
    first : ndarray, shape (n_days + 2,)
        Number of each day's first state, those after the last day included.
    start : mapping of str to (int, int)
        First state of each person, and the cost that is due anyway; not of those who can have none.
    """

    next_state: NDArray[np.int32]
    cost_code: NDArray[np.uint16]
    costs: NDArray[np.float64]
    first: NDArray[np.int64]
    start: dict[str, tuple[int, int]]

    def cheapest(
        self, person: str, price: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], float, int]:
        """Find the cheapest line at a price for each day and choice, infinite where it is closed.

        Returns
        -------
        choices : ndarray, shape (n_days,)
            0 is a day off; empty when there is no line.
        total_cost : float
            Prices and all.
        own_cost : int
            Without the prices.
        """
        state, due = self.start[person]
        value = np.zeros(len(self.next_state) + 1)
        graph = (self.next_state, self.cost_code, self.costs)
        _fill(graph, self.first, price, value)
        total = value[state]
        if not np.isfinite(total):
            return np.zeros(0, np.int64), float("inf"), 0
        choices = np.zeros(len(price), np.int64)
        own = _follow(graph, price, value, state, choices)
        return choices, float(total) + due, round(own) + due


@compiled_apart
def _fill(graph: Any, first: Any, price: Any, value: Any) -> int:
    """Set each state's value to the least cost of all that may follow."""
    next_state, cost_code, costs = graph
    n_days, n_choices = price.shape
    for day in range(n_days - 1, -1, -1):
        for state in range(first[day], first[day + 1]):
            best = np.inf
            for choice in range(n_choices):
                after = next_state[state, choice]
                if after >= 0:
                    cost = value[after] + price[day, choice] + costs[cost_code[state, choice]]
                    best = min(best, cost)
            value[state] = best
    return 0


@compiled_apart
def _follow(graph: Any, price: Any, value: Any, state: int, choices: Any) -> float:
    """Write down the cheapest line from a state on; return what it costs without the prices."""
    next_state, cost_code, costs = graph
    n_days, n_choices = price.shape
    own = 0.0
    for day in range(n_days):
        best, best_choice = np.inf, 0
        for choice in range(n_choices):
            after = next_state[state, choice]
            if after >= 0:
                cost = value[after] + price[day, choice] + costs[cost_code[state, choice]]
                if cost < best:
                    best, best_choice = cost, choice
        choices[day] = best_choice
        own += costs[cost_code[state, best_choice]]
        state = next_state[state, best_choice]
    return own


def line_graph(
    problem: Problem, rules: Sequence[Rule], people: Iterable[Person]
) -> LineGraph | None:
    """Make the graph of people who share their rules; none when it would be too large."""
    parts = _parts(problem, rules)
    stride = np.cumprod([1, *(float(part.n_values) for part in parts)])
    if stride[-1] >= _MOST_CODE:
        return None
    walk = _Walk(parts, stride.astype(np.int64), len(problem.kinds) + 1)
    started = dict(_starts(parts, walk.stride, people))
    begun = np.array([code for code, _ in started.values()], np.int64)
    codes, state = np.unique(begun, return_inverse=True)
    for day in range(problem.n_days):
        codes = walk.step(codes, day)
        if walk.first[-1] > MOST_STATES:
            return None
    start = {
        name: (int(number), cost)
        for (name, (_, cost)), number in zip(started.items(), state, strict=True)
    }
    return walk.graph(len(codes), start)


class _Walk:
    """The states of day after day, numbered one after the other."""

    def __init__(self, parts: Sequence[_Part], stride: Values, n_choices: int) -> None:
        self.parts, self.stride, self.n_choices = parts, stride, n_choices
        self.first = [0]
        self.after: list[NDArray[np.int32]] = []
        self.costs: list[Values] = []

    def step(self, codes: Values, day: int) -> Values:
        """Go on from a day's states; return those of the day after."""
        after, cost = self._stepped(codes, day)
        self.first.append(self.first[-1] + len(codes))
        reached, number = np.unique(after, return_inverse=True)
        n_forbidden = int(len(reached) > 0 and reached[0] < 0)
        number = number.reshape(after.shape) - n_forbidden + self.first[-1]
        self.after.append(np.where(after < 0, -1, number).astype(np.int32))
        self.costs.append(np.where(after < 0, 0, cost))
        return reached[n_forbidden:]

    def _stepped(self, codes: Values, day: int) -> tuple[Values, Values]:
        """Return code after each choice, below 0 where it is not allowed, and cost."""
        after = np.zeros((len(codes), self.n_choices), np.int64)
        total = np.zeros_like(after)
        is_forbidden = np.zeros(after.shape, bool)
        for part, stride in zip(self.parts, self.stride[:-1], strict=True):
            values = codes // stride % part.n_values
            for choice in range(self.n_choices):
                new, cost = part.step(values, day, choice)
                after[:, choice] += stride * new
                total[:, choice] += cost
                is_forbidden[:, choice] |= cost >= FORBIDDEN
        after[is_forbidden] = -1
        return after, total

    def graph(self, n_last: int, start: dict[str, tuple[int, int]]) -> LineGraph | None:
        """Close the graph after the last day, with so many states."""
        table, inverse = np.unique(np.concatenate(self.costs), return_inverse=True)
        if len(table) > _MOST_COSTS:
            return None
        codes = np.split(inverse.reshape(-1, self.n_choices), self.first[1:-1])
        number = np.zeros(n_last, np.int64)
        days = [np.full((1, 2 * self.n_choices), -1)]
        for after, code, first in zip(
            reversed(self.after), reversed(codes), reversed(self.first[1:]), strict=True
        ):
            to = np.append(number, -1)[np.where(after < 0, -1, after - first)]
            day, number = _merged(to, code)
            days.append(day)
        return self._closed(
            days[::-1], table, {n: (int(number[s]), c) for n, (s, c) in start.items()}
        )

    def _closed(
        self, days: Sequence[Values], table: Values, start: dict[str, tuple[int, int]]
    ) -> LineGraph:
        first = np.cumsum([0, *(len(day) for day in days)])
        later = np.repeat(first[1:], [len(day) for day in days])[:, None]
        after, code = np.split(np.concatenate(days), 2, axis=1)
        return LineGraph(
            np.where(after < 0, -1, after + later).astype(np.int32),
            np.maximum(code, 0).astype(np.uint16),
            table.astype(np.float64),
            first,
            {name: begun for name, begun in start.items() if begun[0] >= 0},
        )


def _merged(after: Values, code: Values) -> tuple[Values, Values]:
    """Make one of a day's states that lead to the same at the same costs.

    Returns
    -------
    rows : ndarray, shape (n_merged, 2 * n_choices)
        Where each choice leads, among the states of the day after, and its cost.
    number : ndarray, shape (n_states,)
        Row of each state; -1: leads nowhere.
    """
    rows = np.concatenate([after, np.where(after < 0, -1, code)], axis=1)
    is_alive = (after >= 0).any(axis=1)
    number = np.full(len(rows), -1)
    merged, number[is_alive] = np.unique(rows[is_alive], axis=0, return_inverse=True)
    return merged, number


def _starts(
    parts: Sequence[_Part], stride: Values, people: Iterable[Person]
) -> Iterable[tuple[str, tuple[int, int]]]:
    for person in people:
        begun = [part.start(person) for part in parts]
        if all(cost < FORBIDDEN for _, cost in begun):
            code = int(np.dot([value for value, _ in begun], stride[:-1]))
            yield person.id, (code, sum(cost for _, cost in begun))


def _parts(problem: Problem, rules: Sequence[Rule]) -> list[_Part]:
    kinds = [kind.id for kind in problem.kinds]
    weekday = [on.isoweekday() for on in problem.days]
    parts: list[_Part] = [_Last(problem, [r for r in rules if r.measure == Measure.REST_MIN])]
    for rule in rules:
        counts = [False, *(not rule.kinds or kind in rule.kinds for kind in kinds)]
        if rule.measure in RUNS:
            parts.append(_Run(rule, counts, kinds))
        elif rule.measure in (Measure.WEEKENDS, Measure.SPLIT_WEEKENDS):
            parts.append(_Weekends(rule, counts, weekday))
        elif rule.measure != Measure.REST_MIN:
            parts.extend(_sum_of(problem, rule, counts))
    return parts


def _sum_of(problem: Problem, rule: Rule, counts: Sequence[bool]) -> Iterable[_Part]:
    """Return the part of a rule that adds up, none when it binds nobody."""
    added = np.zeros((problem.n_days, len(counts)), np.int64)
    for day, on in enumerate(problem.days):
        for choice, kind in enumerate(problem.kinds, 1):
            minutes = problem.worked_min(kind, on) if rule.measure == Measure.MINUTES else 1
            added[day, choice] = minutes * counts[choice]
    windows = _windows(problem) if rule.is_weekly else [range(problem.n_days)]
    greatest = max(int(added[window].max(axis=1).sum()) for window in windows)
    carried = 0 if rule.is_weekly else max(p.carried.get(rule.id, 0) for p in problem.people)
    is_bound = rule.most is not None and greatest + carried > rule.most
    if rule.least or is_bound:
        yield _Sum(rule, added, windows)


def _windows(problem: Problem) -> list[range]:
    first = (problem.starts_on.isoweekday() - problem.week_starts_on) % 7
    starts = range(-first, problem.n_days, 7)
    return [range(max(0, start), min(start + 7, problem.n_days)) for start in starts]


def use_once() -> float:
    """Find a line of a little week, so that the loops are compiled; return what it costs."""
    person = Person("one", "all")
    week = Problem(
        starts_on=date(2026, 6, 1),
        n_days=2,
        zone="UTC",
        kinds=(ShiftKind("day", time(6), 8 * 60),),
        contracts=(Contract("all"),),
        people=(person,),
    )
    graph = line_graph(week, (), [person])
    return 0.0 if graph is None else graph.cheapest("one", np.ones((2, 2)))[1]
