"""Compiled loops of `refit`: rows are taken out and put back, each at what the others leave.

Chance is numba's own generator, seeded at each call: a thread has one of its own.
"""
# ruff: noqa: NPY002  # compiled code has no other without arrays of its own

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from equipment.site.calc.compiled import compiled, compiled_apart

HARD = 1e12  # for each head that must or must not be there, in the solver's units
_MOST_WHOLE, _MOST_CUT = 3, 8  # people taken out: all their days, some of their days
_SHARE_CUT = 0.5
_LEAST_DAYS = 3


class Lines(NamedTuple):
    """Graphs of all contracts behind one another, and each person's place in them.

    `next_state`, `cost_code`: shape (n_states, n_choices); `first`: (n_graphs, n_days + 2);
    `base`: each graph's first place in `costs`; `due`: what the past costs anyway; `own`:
    (n_people, n_days, n_choices), infinite where closed; `movable`: people who have a graph.
    """

    next_state: Any
    cost_code: Any
    costs: Any
    base: Any
    first: Any
    graph: Any
    start: Any
    due: Any
    own: Any
    movable: Any


class Heads(NamedTuple):
    """Demand, sorted by day and choice: `first` of each pair; `weight` (n_people, n_demand) [%].

    `under`, `over`: prices of a percent beside `target`; `hard`: beside `least` and `most` [%].
    """

    first: Any
    target: Any
    least: Any
    most: Any
    under: Any
    over: Any
    hard: float
    is_named: Any
    weight: Any


class Crews(NamedTuple):
    """`of`: crews of each person, from `first` on; `is_lead`: (n_crews, n_people)."""

    first: Any
    of: Any
    is_lead: Any
    apart: Any
    lead: Any


class Shares(NamedTuple):
    """Fairness: `is_in` (n_shares, n_people), `counts` (n_shares, n_days, n_choices)."""

    is_in: Any
    counts: Any
    price: Any
    size: Any


class Given(NamedTuple):
    """All that does not change."""

    lines: Lines
    heads: Heads
    crews: Crews
    shares: Shares


class Rows(NamedTuple):
    """`row` and `named` (n_people, n_days): choice, and the demand worked as or -1."""

    row: Any
    named: Any
    own_cost: Any


class State(NamedTuple):
    """A roster: rows as in `Rows`, and what people come to together.

    `there` [%] by demand; `crew`, `led` (n_crews, n_days, n_choices); `count` (n_shares, n_people).
    """

    row: Any
    named: Any
    own_cost: Any
    there: Any
    crew: Any
    led: Any
    count: Any


class Work(NamedTuple):
    """Room to write in."""

    price: Any
    named: Any
    value: Any
    taken: Any
    order: Any
    old: Rows


@compiled
def _heads_cost(heads: Any, i: int, there: float) -> float:
    return float(
        heads.under[i] * max(0.0, heads.target[i] - there)
        + heads.over[i] * max(0.0, there - heads.target[i])
        + heads.hard * max(0.0, heads.least[i] - there)
        + heads.hard * max(0.0, there - heads.most[i])
    )


@compiled
def _crew_cost(given: Any, state: Any, c: int, day: int) -> float:
    """What a crew's day costs."""
    n_used, cost = 0, 0.0
    for choice in range(1, state.crew.shape[2]):
        if state.crew[c, day, choice] > 0:
            n_used += 1
            if state.led[c, day, choice] == 0:
                cost += given.crews.lead[c]
    return float(cost + given.crews.apart[c] * max(0, n_used - 1))


@compiled_apart
def put(given: Any, state: Any, p: int, sign: int) -> float:
    """Count a person's row in (1) or out (-1); return what that changes, fairness left out."""
    heads, crews = given.heads, given.crews
    n_choices = given.lines.own.shape[2]
    change = sign * state.own_cost[p]
    for day in range(state.row.shape[1]):
        choice = state.row[p, day]
        if choice == 0:
            continue
        cell = day * n_choices + choice
        for i in range(heads.first[cell], heads.first[cell + 1]):
            weight = heads.weight[p, i]
            if weight > 0 and (not heads.is_named[i] or state.named[p, day] == i):
                before = _heads_cost(heads, i, state.there[i])
                state.there[i] += sign * weight
                change += _heads_cost(heads, i, state.there[i]) - before
        for n in range(crews.first[p], crews.first[p + 1]):
            c = crews.of[n]
            before = _crew_cost(given, state, c, day)
            state.crew[c, day, choice] += sign
            state.led[c, day, choice] += sign * crews.is_lead[c, p]
            change += _crew_cost(given, state, c, day) - before
        for f in range(len(given.shares.price)):
            if given.shares.is_in[f, p]:
                state.count[f, p] += sign * given.shares.counts[f, day, choice]
    return float(change)


@compiled
def _unfair(given: Any, state: Any) -> float:
    """What fairness costs."""
    shares, cost = given.shares, 0.0
    for f in range(len(shares.price)):
        total = 0.0
        for p in range(state.count.shape[1]):
            total += state.count[f, p] * shares.is_in[f, p]
        mean = total / shares.size[f]
        for p in range(state.count.shape[1]):
            if shares.is_in[f, p]:
                cost += shares.price[f] * max(0.0, state.count[f, p] - mean)
    return cost


@compiled_apart
def total_cost(given: Any, state: Any) -> float:
    """Cost of a roster, in the solver's units, `HARD` ones included."""
    cost = _unfair(given, state)
    for p in range(len(state.own_cost)):
        cost += state.own_cost[p]
    for i in range(len(state.there)):
        cost += _heads_cost(given.heads, i, state.there[i])
    for c in range(state.crew.shape[0]):
        for day in range(state.crew.shape[1]):
            cost += _crew_cost(given, state, c, day)
    return cost


@compiled_apart
def _ask(given: Any, state: Any, work: Any, p: int, noise: float) -> int:
    """Write what each day and choice would cost a person whose row is out."""
    heads, crews = given.heads, given.crews
    n_days, n_choices = work.price.shape
    for day in range(n_days):
        work.price[day, 0] = given.lines.own[p, day, 0]
        for choice in range(1, n_choices):
            cost = given.lines.own[p, day, choice] + noise * np.random.random()
            cell = day * n_choices + choice
            best, best_named = 0.0, -1
            for i in range(heads.first[cell], heads.first[cell + 1]):
                weight = heads.weight[p, i]
                if weight > 0:
                    there = state.there[i]
                    step = _heads_cost(heads, i, there + weight) - _heads_cost(heads, i, there)
                    if not heads.is_named[i]:
                        cost += step
                    elif step < best:
                        best, best_named = step, i
            work.named[day, choice] = best_named
            work.price[day, choice] = cost + best
        for n in range(crews.first[p], crews.first[p + 1]):
            c = crews.of[n]
            before = _crew_cost(given, state, c, day)
            for choice in range(1, n_choices):
                state.crew[c, day, choice] += 1
                state.led[c, day, choice] += crews.is_lead[c, p]
                work.price[day, choice] += _crew_cost(given, state, c, day) - before
                state.crew[c, day, choice] -= 1
                state.led[c, day, choice] -= crews.is_lead[c, p]
    return 0


@compiled_apart
def _ask_fair(given: Any, state: Any, work: Any, p: int, old: Any) -> int:
    """Add fairness, as steep as it is about the person's old count."""
    shares = given.shares
    n_days, n_choices = work.price.shape
    for f in range(len(shares.price)):
        if not shares.is_in[f, p]:
            continue
        count = float(state.count[f, p])
        for day in range(n_days):
            count += shares.counts[f, day, old[day]]
        total = count
        for q in range(state.count.shape[1]):
            total += state.count[f, q] * (shares.is_in[f, q] and q != p)
        mean, n_above = total / shares.size[f], 0
        for q in range(state.count.shape[1]):
            n_above += shares.is_in[f, q] and q != p and state.count[f, q] > mean
        is_above = count + np.random.randint(-1, 2) > mean
        slope = shares.price[f] * (is_above - (n_above + is_above) / shares.size[f])
        for day in range(n_days):
            for choice in range(1, n_choices):
                work.price[day, choice] += slope * shares.counts[f, day, choice]
    return 0


@compiled_apart
def _fit(given: Any, state: Any, work: Any, p: int) -> bool:
    """Give a person the cheapest row at the prices; false when there is none."""
    lines, value, price = given.lines, work.value, work.price
    n_days, n_choices = price.shape
    g = lines.graph[p]
    base = lines.base[g]
    for day in range(n_days - 1, -1, -1):
        for at in range(lines.first[g, day], lines.first[g, day + 1]):
            best = np.inf
            for choice in range(n_choices):
                after = lines.next_state[at, choice]
                if after >= 0:
                    cost = value[after] + price[day, choice]
                    best = min(best, cost + lines.costs[base + lines.cost_code[at, choice]])
            value[at] = best
    at = lines.start[p]
    if not np.isfinite(value[at]):
        return False
    own = float(lines.due[p])
    for day in range(n_days):
        best, best_choice = np.inf, 0
        for choice in range(n_choices):
            after = lines.next_state[at, choice]
            if after >= 0:
                cost = value[after] + price[day, choice]
                cost += lines.costs[base + lines.cost_code[at, choice]]
                if cost < best:
                    best, best_choice = cost, choice
        own += lines.costs[base + lines.cost_code[at, best_choice]]
        own += lines.own[p, day, best_choice]
        state.row[p, day] = best_choice
        state.named[p, day] = work.named[day, best_choice] if best_choice > 0 else -1
        at = lines.next_state[at, best_choice]
    state.own_cost[p] = own
    return True


@compiled
def _copy(one: Any, p: int, other: Any, q: int) -> int:
    """Write a person's row to another place."""
    for day in range(one.row.shape[1]):
        other.row[q, day] = one.row[p, day]
        other.named[q, day] = one.named[p, day]
    other.own_cost[q] = one.own_cost[p]
    return 0


@compiled_apart
def _take_out(given: Any, state: Any, work: Any, n: int) -> float:
    """Choose and count out some people, their rows kept aside."""
    order, n_movable = work.order, len(given.lines.movable)
    change = 0.0
    for k in range(n):
        other = np.random.randint(k, n_movable)
        order[k], order[other] = order[other], order[k]
        p = given.lines.movable[order[k]]
        work.taken[k] = p
        _copy(state, p, work.old, k)
        change += put(given, state, p, -1)
    return change


@compiled_apart
def _put_back(given: Any, state: Any, work: Any, k: int) -> float:
    """Give somebody the old row again, counted in."""
    p = work.taken[k]
    _copy(work.old, k, state, p)
    return put(given, state, p, 1)


@compiled_apart
def _undo(given: Any, state: Any, work: Any, n: int) -> int:
    """Give all that were taken out their old rows again."""
    for k in range(n):
        put(given, state, work.taken[k], -1)
    for k in range(n):
        _put_back(given, state, work, k)
    return 0


@compiled_apart
def _fill_in(facts: Any, k: int, days: Any, noise: float) -> float:
    """Give somebody a new row, counted in; days outside of the given ones stay."""
    given, state, work = facts
    p = work.taken[k]
    _ask(given, state, work, p, noise)
    _ask_fair(given, state, work, p, work.old.row[k])
    for day in range(work.price.shape[0]):
        if day < days[0] or day >= days[1]:
            for choice in range(work.price.shape[1]):
                if choice != work.old.row[k, day]:
                    work.price[day, choice] = np.inf
    if not _fit(given, state, work, p):
        return _put_back(given, state, work, k)
    return put(given, state, p, 1)


@compiled_apart
def sample(given: Any, state: Any, work: Any, seed: int, changes: Any) -> int:
    """Write by how much single moves change the cost; the roster stays."""
    np.random.seed(seed)
    unfair, n_days = _unfair(given, state), state.row.shape[1]
    for move in range(len(changes)):
        n = min(1 + move % _MOST_WHOLE, len(given.lines.movable))
        change = _take_out(given, state, work, n)
        for k in range(n):
            change += _fill_in((given, state, work), k, (0, n_days), 0.0)
        changes[move] = change + _unfair(given, state) - unfair
        _undo(given, state, work, n)
    return 0


@compiled_apart
def first_rows(given: Any, state: Any, work: Any, seed: int) -> int:
    """Give everybody a row, one after the other."""
    np.random.seed(seed)
    for n in range(len(given.lines.movable)):
        p = given.lines.movable[n]
        _ask(given, state, work, p, 0.0)
        if not _fit(given, state, work, p):
            state.own_cost[p] = HARD
        put(given, state, p, 1)
    return 0


@compiled_apart
def refit(given: Any, state: Any, work: Any, best: Any, run: Any) -> float:
    """Take rows out and put others in, over and over; keep what is better, or chance allows.

    Parameters
    ----------
    run : tuple of (int, int, float, float)
        Seed, moves, temperature, cost of `best`.

    Returns
    -------
    float
        Cost of `best`, which is written when a better roster is found.
    """
    seed, n_moves, temperature, best_cost = run
    np.random.seed(seed)
    n_days, n_movable = state.row.shape[1], len(given.lines.movable)
    unfair, cost = _unfair(given, state), total_cost(given, state)
    for _ in range(n_moves):
        is_cut = np.random.random() < _SHARE_CUT and n_days > _LEAST_DAYS
        most = min(_MOST_CUT if is_cut else _MOST_WHOLE, n_movable)
        n = np.random.randint(1, most + 1)
        start, length = 0, n_days
        if is_cut:
            length = np.random.randint(_LEAST_DAYS, min(n_days, 14) + 1)
            start = np.random.randint(0, n_days - length + 1)
        change = _take_out(given, state, work, n)
        for k in range(n):
            days = (start, start + length)
            change += _fill_in((given, state, work), k, days, temperature)
        new_unfair = _unfair(given, state)
        change += new_unfair - unfair
        if change <= -temperature * np.log(1.0 - np.random.random()):
            unfair, cost = new_unfair, cost + change
            if cost < best_cost - 0.5:
                best_cost = cost
                for p in range(len(state.own_cost)):
                    _copy(state, p, best, p)
        else:
            _undo(given, state, work, n)
    return float(best_cost)
