"""Ways from place to place, for people and for machines [m]."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, dijkstra

from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import Road

NO_WAY_M = 1e9  # where roads lead only the other way, or not for this traveller: no day is so long


@dataclass(frozen=True, slots=True)
class Ways:
    """Way from each place (row) to each (column), in the order of the problem's places.

    Parameters
    ----------
    people_m, machines_m : ndarray, shape (n_places, n_places)
        `NO_WAY_M` where there is none. [m]
    """

    people_m: NDArray[np.float64]
    machines_m: NDArray[np.float64]


def ways_of(problem: Problem) -> Ways:
    """Return the ways of a problem: its matrix, else along its roads, else straight ones.

    Places that the roads join, whoever may use them and whichever way, have no way beside the
    roads: where none leads for a traveller, there is none.
    """
    if problem.ways_m:
        given_m = np.array(problem.ways_m, dtype=np.float64)
        return Ways(given_m, given_m)
    straight_m = _straight_m(problem)
    if not problem.roads:
        return Ways(straight_m, straight_m)
    n, index = len(problem.places), {place.key: i for i, place in enumerate(problem.places)}
    _, part = connected_components(_graph(problem.roads, index, n), directed=False)
    is_joined = part[:, None] == part[None, :]

    def along(roads: list[Road]) -> NDArray[np.float64]:
        ways_m = dijkstra(_graph(roads, index, n))
        ways_m[np.isinf(ways_m)] = NO_WAY_M
        return np.where(is_joined, ways_m, straight_m)

    return Ways(
        along([road for road in problem.roads if road.is_for_people]),
        along([road for road in problem.roads if road.is_for_machines]),
    )


def _straight_m(problem: Problem) -> NDArray[np.float64]:
    x_m = np.array([place.x_m for place in problem.places], dtype=np.float64)
    y_m = np.array([place.y_m for place in problem.places], dtype=np.float64)
    apart_m = np.hypot(x_m[:, None] - x_m, y_m[:, None] - y_m)
    return np.asarray(apart_m * problem.detour_factor, dtype=np.float64)


def _graph(roads: tuple[Road, ...] | list[Road], index: dict[str, int], n: int) -> csr_array:
    # The shorter of two roads side by side: a sparse array would add them up.
    shortest_m: dict[tuple[int, int], float] = {}
    for road in roads:
        a, b = index[road.a], index[road.b]
        for pair in ((a, b),) if road.is_one_way else ((a, b), (b, a)):
            shortest_m[pair] = min(road.length_m, shortest_m.get(pair, road.length_m))
    rows = [a for a, _ in shortest_m]
    columns = [b for _, b in shortest_m]
    return csr_array((list(shortest_m.values()), (rows, columns)), shape=(n, n), dtype=np.float64)
