"""Shifts seen in the search, put together anew: those that do each job once at the least cost.

Only where shifts do not touch each other: every job is one person's, without machines, places of
its own, gear, dependencies and bonds, and costs the same whoever does it when.

References
----------
B. A. Foster, D. M. Ryan, "An integer programming approach to the vehicle scheduling problem",
Operational Research Quarterly 27 (1976) 367-384, doi:10.1057/jors.1976.63 (from memory).

Notes
-----
Valid: any number of shifts; no bound is proved.
Checked: the plan put together costs what the judge's score says, and no more than the best before.
"""

from __future__ import annotations

import numpy as np
from scipy import optimize
from scipy.sparse import csr_array

from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.search import layout as o
from schedules.dayplan.calc.search.layout import NEVER, NONE, Floats, Ints
from schedules.dayplan.calc.search.lines import put_on
from schedules.dayplan.calc.search.scratch import (
    AT_BEST_CL,
    AT_CL,
    AT_CP,
    QUEUE,
    QUEUED,
    W_N_LOG,
)
from schedules.dayplan.calc.search.slack import ask, clear_queue, loosen, propagate
from schedules.dayplan.calc.search.tables import Tables
from schedules.dayplan.calc.search.total import of_unit

Line = tuple[tuple[int, int], ...]
"""A shift's jobs in order, each with where the person calls before it."""
Key = tuple[int, frozenset[int]]
"""A unit and its jobs."""
_MOST_LINES = 6000  # those seen last are kept: common practice, no source
_MOST_NODES = 20  # of one putting together: common practice, no source


def is_apart(problem: Problem) -> bool:
    """Whether shifts do not touch each other and a job's own cost is that of leaving it out."""
    exclusive = {place.key for place in problem.places if place.is_exclusive}
    return problem.weights.balance_per_min == 0 and all(
        job.sizes == (1,)
        and not job.needs_machine
        and not exclusive & set(job.places)
        and not (job.gear or job.depends_on or job.same_people_as or job.other_people_than)
        and not (job.locked or job.previous or job.due_at or job.preferred_crew)
        for job in problem.jobs
    )


class Lines:
    """Shifts seen, by unit and set of jobs the cheapest."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self.found: dict[Key, tuple[float, Line]] = {}

    def add(self, B: Floats, S: Ints, W: Ints) -> None:
        """Remember the shifts of a plan."""
        A, state, slots = self.tables.A, S.tolist(), self.tables.n_slots
        first, at_line = int(A[o.AT_NODE]), int(A[o.AT_LINE])
        for u in range(len(self.tables.inst.units)):
            node, line = state[at_line + 2 * u], []
            while node >= 0:
                j = node // slots
                line.append((j, state[j * o.STATE_WIDTH + o.S_CALL]))
                node = state[first + node * o.NODE_WIDTH + o.D_AFTER]
            if not line:
                continue
            key = u, frozenset(j for j, _ in line)
            known = self.found.get(key)
            if known is None or known[1] != tuple(line):
                cost = float(of_unit(A, B, S, W, u))
                if known is None or cost < known[0]:
                    self.found[key] = cost, tuple(line)

    def put_together(self, W: Ints, may_miss: set[int]) -> Ints | None:
        """Return the plan of the lines that do each job once at the least cost, if any is found.

        `may_miss` are the jobs that may be left out instead.
        """
        A, S = self.tables.A, self.tables.empty_state()
        lines = self._chosen(may_miss)
        for u, line in lines.items():
            for j, call in line:
                W[AT_CL:AT_BEST_CL] = NONE
                W[AT_CL], W[AT_CP] = u, S[A[o.AT_LINE] + 2 * u + 1]
                row = int(A[A[o.AT_JOB] + j * o.JOB_WIDTH + o.J_MODE])
                put_on(A, S, W, j, row, NONE, call, -NEVER, -NEVER, -NEVER)
                ask(A, W, j, QUEUE, QUEUED)
        W[W_N_LOG] = 0
        if not propagate(A, S, W):
            clear_queue(A, W)
            return None
        loosen(A, S, W, NONE)
        return S if lines else None

    def _chosen(self, may_miss: set[int]) -> dict[int, Line]:
        """Return the lines by unit; empty: none were found that do each job once."""
        self._forget()
        keys, n = list(self.found), len(self.tables.inst.tasks)
        prices = [task.left_out_cost for task in self.tables.inst.tasks]
        most = [1.0] * len(keys) + [float(j in may_miss) for j in range(n)]
        rows = [[*jobs, n + u] for u, jobs in keys] + [[j] for j in range(n)]
        columns = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
        flat = np.concatenate([np.array(row, dtype=np.int64) for row in rows])
        n_units = len(self.tables.inst.units)
        matrix = csr_array((np.ones(len(flat)), (flat, columns)), (n + n_units, len(rows)))
        least = np.concatenate([np.ones(n), np.zeros(n_units)])
        found = optimize.milp(
            [self.found[key][0] for key in keys] + prices,
            integrality=np.ones(len(rows)),
            bounds=optimize.Bounds(0, most),
            constraints=optimize.LinearConstraint(matrix, least, np.ones(n + n_units)),
            options={"node_limit": _MOST_NODES, "mip_rel_gap": 1e-3},
        )
        if found.x is None:
            return {}
        return {
            u: self.found[u, jobs][1]
            for (u, jobs), x in zip(keys, found.x, strict=False)
            if x > 0.5
        }

    def _forget(self) -> None:
        """Keep the shifts seen last, no more than can be put together soon."""
        for key in list(self.found)[:-_MOST_LINES]:
            del self.found[key]
