"""How much of what is asked for nobody, or no machine, is there to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

Kinds = frozenset[str]
ANY: Kinds = frozenset()  # asked of anybody


@dataclass(frozen=True, slots=True)
class Shortage:
    """One lack, and what is asked for where it lies.

    Parameters
    ----------
    short_min : int
        Minutes that cannot be done however they are shared out, above 0. [min]
    asked : frozenset of frozenset of str
        The fewest of what is asked for that together lack as much.
    """

    short_min: int
    asked: frozenset[Kinds]


def fits(asked: Kinds, held: Kinds) -> bool:
    """Say whether one can do what is asked.

    Parameters
    ----------
    asked : frozenset of str
        Skills, or kinds of machine, of which any one will do; none where anybody can.
    held : frozenset of str
        What one has or is.

    Returns
    -------
    bool
        Whether they meet.
    """
    return not asked or bool(asked & held)


def total_min(asked: Iterable[Kinds], amounts_min: Mapping[Kinds, float]) -> float:
    """Add up what those have who fit any of what is asked.

    Parameters
    ----------
    asked : iterable of frozenset of str
        What is asked for.
    amounts_min : mapping
        Minutes by what is held. [min]

    Returns
    -------
    float
        Their minutes, each counted once. [min]
    """
    wanted = list(asked)
    return sum(n for held, n in amounts_min.items() if any(fits(one, held) for one in wanted))


def shortages(
    need_min: Mapping[Kinds, float], have_min: Mapping[Kinds, float]
) -> tuple[Shortage, ...]:
    """Find what cannot be done, when everybody does what is lacking most.

    Parameters
    ----------
    need_min : mapping
        Minutes by what is asked: any one of its members will do; empty asks for anybody. [min]
    have_min : mapping
        Minutes by what is held: a person's skills, or a machine's kind. [min]

    Returns
    -------
    tuple of Shortage
        In whole minutes, the greatest first; none where all can be done. What no two of them could
        share stands apart; together they are all that cannot be done. [min]

    Raises
    ------
    ValueError
        A negative amount.

    Notes
    -----
    A greatest flow from what is asked to what is held; what does not get through is lacking, and
    the smallest cut names it. Whoever has several skills is counted once and never twice.

    Valid: all hours of the day are alike; who can work when is the roster's to look at.
    Checked: tests/schedules/outlook/test_cover.py::test_shortages_are_the_worst_of_all_subsets

    References
    ----------
    P. Hall, "On Representatives of Subsets", J. London Math. Soc. s1-10(1), 1935, 26-30, Theorem 1
    (with weights: max-flow min-cut, Ford and Fulkerson 1956; from memory).
    """
    if min([*need_min.values(), *have_min.values()], default=0.0) < 0:
        raise ValueError("amounts cannot be negative")
    asked, held = list(need_min), list(have_min)
    need = [round(need_min[one]) for one in asked]
    have = [round(have_min[one]) for one in held]
    source, sink = 0, 1 + len(asked) + len(held)
    graph = np.zeros((sink + 1, sink + 1), dtype=np.int32)
    graph[source, 1 : 1 + len(asked)] = need
    graph[1 + len(asked) : sink, sink] = have
    for i, one in enumerate(asked):
        for j, other in enumerate(held):
            if fits(one, other):
                graph[1 + i, 1 + len(asked) + j] = need[i]
    flow = maximum_flow(csr_array(graph), source, sink)
    if sum(need) == int(flow.flow_value):
        return ()
    left = graph - flow.flow.toarray()
    reached = breadth_first_order(
        csr_array((left > 0).astype(np.int32)), source, return_predecessors=False
    )
    lacking = [n - 1 for n in reached.tolist() if 1 <= n <= len(asked)]
    shared = graph[1 : 1 + len(asked), 1 + len(asked) : sink] * (np.array(have, np.int32) > 0)
    found = []
    for group in _apart(lacking, shared):
        there = int(np.array(have)[shared[group].any(axis=0)].sum())
        lack_min = sum(need[i] for i in group) - there
        found.append(Shortage(lack_min, frozenset(asked[i] for i in group)))
    return tuple(sorted(found, key=lambda one: (-one.short_min, sorted(map(sorted, one.asked)))))


def _apart(rows: list[int], shared: NDArray[np.int32]) -> list[list[int]]:
    """Part rows of a table into groups of which no two have a column in common."""
    part = shared[rows] > 0
    meets = csr_array((part @ part.T).astype(np.int32))
    n_groups, label = connected_components(meets, directed=False)
    return [[row for row, of in zip(rows, label, strict=True) if of == n] for n in range(n_groups)]
