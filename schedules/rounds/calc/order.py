"""The order of pens at a milking where it is free.

Exact, by dynamic programming over subsets; of more pens than that takes, improved step by step.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.compiled import compiled

MOST_FREE_PENS = 20  # 2^20 subsets of one class are 84 MB and about a second
NEVER = np.int32(2**30)

Ints = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class OrderPen:
    """A pen that waits for its place in the order.

    Parameters
    ----------
    key : str
        Name of the pen.
    contagion_class : int
        Lower classes are milked before higher ones.
    is_withheld : bool
        Its milk does not go into the tank.
    entry_s : int
        Time until the next pen's first cow may step on, above 0. [s]
    work_from_s, work_until_s : int
        When its beds can be worked, from its own first cow's entry. [s]
    x_m, y_m : float
        Where it stands. [m]
    """

    key: str
    contagion_class: int
    is_withheld: bool
    entry_s: int
    work_from_s: int
    work_until_s: int
    x_m: float
    y_m: float


@dataclass(frozen=True, slots=True)
class OrderRules:
    """What an order has to keep and what it is judged by.

    Parameters
    ----------
    wash_s : int
        System wash before saleable milk follows withheld milk. [s]
    available_s : int
        From the first cow on until the last pen must have stepped on. [s]
    crew : tuple of (int, int)
        When a crew is on, from the first cow on; apart and in order. [s]
    walk_m_s : float
        Speed of people on foot between pens, above 0. [m s⁻¹]
    """

    wash_s: int
    available_s: int
    crew: tuple[tuple[int, int], ...]
    walk_m_s: float = 1.2


@dataclass(frozen=True, slots=True)
class PenOrder:
    """An order and what it costs.

    Parameters
    ----------
    keys : tuple of str
        The pens in turn.
    cost_s : int
        Minutes of bed windows without a crew and of walking between pens, together. [s]
    needed_s : int
        Time that all pens and the washes between need. [s]
    short_s : int
        How much of it is not there; above 0, no order fits. [s]
    n_washes : int
        Washes between withheld and saleable milk.
    is_proven : bool
        No allowed order costs less. False of an order that was only priced or improved.
    """

    keys: tuple[str, ...]
    cost_s: int
    needed_s: int
    short_s: int
    n_washes: int
    is_proven: bool = False


def _group(pen: OrderPen) -> tuple[int, bool]:
    return pen.contagion_class, pen.is_withheld


def is_order_allowed(pens: Sequence[OrderPen]) -> bool:
    """Say whether pens in this order keep contagion classes, withheld milk last in each.

    Parameters
    ----------
    pens : sequence of OrderPen
        In the order to judge.

    Returns
    -------
    bool
        Whether no pen stands behind one that must follow it.
    """
    return all(_group(first) <= _group(then) for first, then in pairwise(pens))


def _washes_before(pens: Sequence[OrderPen]) -> list[bool]:
    return [False, *(a.is_withheld and not b.is_withheld for a, b in pairwise(pens))]


def _walk_s(first: OrderPen, then: OrderPen, rules: OrderRules) -> int:
    return round((abs(first.x_m - then.x_m) + abs(first.y_m - then.y_m)) / rules.walk_m_s)


def _uncovered_s(pen: OrderPen, at_s: int, rules: OrderRules) -> int:
    start, end = at_s + pen.work_from_s, at_s + pen.work_until_s
    covered = sum(max(0, min(end, until) - max(start, since)) for since, until in rules.crew)
    return max(0, end - start - covered)


def price_order(pens: Sequence[OrderPen], rules: OrderRules) -> PenOrder:
    """Compute what an order costs people and whether its time is there.

    Parameters
    ----------
    pens : sequence of OrderPen
        In the order to price.
    rules : OrderRules
        The milking's limits and crews.

    Returns
    -------
    PenOrder
        The order with its cost. [s]

    Notes
    -----
    Valid: a steady pace; a pen's own time away is then the same in any place of the order, so
    that it takes no part in the cost.
    Checked: tests/schedules/rounds/test_order.py::test_an_order_is_priced_by_hand

    References
    ----------
    Arithmetic.
    """
    washes = _washes_before(pens)
    at_s, cost_s = 0, 0
    for place, pen in enumerate(pens):
        at_s += rules.wash_s * washes[place]
        cost_s += _uncovered_s(pen, at_s, rules)
        cost_s += _walk_s(pens[place - 1], pen, rules) if place else 0
        at_s += pen.entry_s
    keys = tuple(pen.key for pen in pens)
    return PenOrder(keys, cost_s, at_s, max(0, at_s - rules.available_s), sum(washes))


@compiled
def _fill(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    best: Ints, first: Ints, to: Ints, entry: Ints, work: Ints, crew: Ints
) -> None:
    """Least cost to have milked a subset, by its last pen; crew times from the group's start.

    `best` holds NEVER everywhere before, and `to` the walks, by where they lead.
    """
    n = entry.size
    for done in range(1, 1 << n):
        end_s = 0
        for j in range(n):
            end_s += entry[j] * (done >> j & 1)
        for j in range(n):
            if not done >> j & 1:
                continue
            at_s = end_s - entry[j]
            begin, until = at_s + work[j, 0], at_s + work[j, 1]
            own = max(0, until - begin)
            for c in range(crew.shape[0]):
                own -= max(0, min(until, crew[c, 1]) - max(begin, crew[c, 0]))
            rest = done ^ (1 << j)
            least = first[j] if rest == 0 else NEVER
            # Pens outside `rest` cost NEVER, so that no branch keeps the loop from vectors.
            before, steps = best[rest], to[j]
            for i in range(n):
                cost = np.int32(before[i] + steps[i])
                least = cost if cost < least else least
            best[done, j] = np.int32(least + max(0, own))


def _trace(best: Ints, walk: Ints, last: int) -> list[int]:
    """Read the order back from the table; any predecessor of least cost is as good."""
    order = [last]
    done = len(best) - 1
    while done != 1 << order[-1]:
        done ^= 1 << order[-1]
        order.append(int(np.argmin(best[done] + walk[:, order[-1]])))
    return order[::-1]


def _walks(froms: Sequence[OrderPen], tos: Sequence[OrderPen], rules: OrderRules) -> Ints:
    return np.array([[_walk_s(a, b, rules) for b in tos] for a in froms], dtype=np.int32)


def order_pens(pens: Sequence[OrderPen], rules: OrderRules) -> PenOrder:
    """Find the order of least cost among all that keep contagion and withheld milk.

    Parameters
    ----------
    pens : sequence of OrderPen
        At least one, in the farm's own order.
    rules : OrderRules
        The milking's limits and crews.

    Returns
    -------
    PenOrder
        A best order, proven by construction. Where more than 20 pens share class and milk, the
        farm's order improved until no pen costs less in another place: not proven. [s]

    Raises
    ------
    ValueError
        If no pen is given.

    Notes
    -----
    Valid: as `price_order`. Time needed and washes are the same for all allowed orders, so that
    where they do not fit, none fits.
    Checked: tests/schedules/rounds/test_order.py::test_no_order_is_better_than_the_one_found,
    test_an_order_of_many_pens_is_improved_and_said_not_to_be_proven

    References
    ----------
    Held, M. and Karp, R. M., "A dynamic programming approach to sequencing problems", J. SIAM
    10:196-210, 1962. Aarts, E. and Lenstra, J. K. (eds.), "Local Search in Combinatorial
    Optimization", 1997, ch. 1: moving one item until none gains.
    """
    if not pens:
        raise ValueError("pens: at least one is needed")
    in_groups = sorted(pens, key=_group)
    groups = [list(group) for _key, group in groupby(in_groups, key=_group)]
    if max(map(len, groups)) > MOST_FREE_PENS:
        return price_order(_improve(in_groups, rules), rules)
    return replace(price_order(_solve(groups, rules), rules), is_proven=True)


def _improve(pens: list[OrderPen], rules: OrderRules) -> list[OrderPen]:
    """Move one pen at a time to the allowed place that gains most, until no move gains."""
    cost_s = price_order(pens, rules).cost_s
    while True:
        tried = [(price_order(order, rules).cost_s, order) for order in _moves(pens)]
        least_s, best = min(tried, key=lambda priced: priced[0])
        if least_s >= cost_s:
            return pens
        cost_s, pens = least_s, best


def _moves(pens: list[OrderPen]) -> Iterator[list[OrderPen]]:
    for place, pen in enumerate(pens):
        rest = pens[:place] + pens[place + 1 :]
        for to in range(len(pens)):
            order = [*rest[:to], pen, *rest[to:]]
            if is_order_allowed(order):
                yield order


def _solve(groups: Sequence[Sequence[OrderPen]], rules: OrderRules) -> list[OrderPen]:
    """Solve class after class, each from the last pens of the one before."""
    tables: list[tuple[Ints, Ints, Ints]] = []  # walks from before, walks within, costs
    ends = np.zeros(1, dtype=np.int32)
    start_s = 0
    crew = np.array(rules.crew, dtype=np.int32).reshape(-1, 2)
    for place, group in enumerate(groups):
        before = groups[place - 1] if place else None
        into = _walks(before, group, rules) if before else np.zeros((1, len(group)), dtype=np.int32)
        if before and before[0].is_withheld and not group[0].is_withheld:
            start_s += rules.wash_s
        entry = np.array([pen.entry_s for pen in group], dtype=np.int32)
        work = np.array([(p.work_from_s, p.work_until_s) for p in group], dtype=np.int32)
        walk = _walks(group, group, rules)
        first = (ends[:, None] + into).min(axis=0).astype(np.int32)
        best = np.full((1 << len(group), len(group)), NEVER, dtype=np.int32)
        to = np.ascontiguousarray(walk.T)
        _fill(best, first, to, entry, work, crew - np.int32(start_s))
        tables.append((into, walk, best))
        ends = best[-1]
        start_s += int(entry.sum())
    return _trace_groups(groups, tables)


def _trace_groups(
    groups: Sequence[Sequence[OrderPen]], tables: Sequence[tuple[Ints, Ints, Ints]]
) -> list[OrderPen]:
    order: list[OrderPen] = []
    onward = np.zeros(len(groups[-1]), dtype=np.int32)
    for group, (into, walk, best) in zip(reversed(groups), reversed(tables), strict=True):
        turns = _trace(best, walk, int(np.argmin(best[-1] + onward)))
        order = [group[turn] for turn in turns] + order
        onward = into[:, turns[0]]
    return order
