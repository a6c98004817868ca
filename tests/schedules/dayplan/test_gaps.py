"""The gap that the search finds is the cheapest, though few gaps are tried: all are tried here."""

from itertools import product

import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.model import solve_day
from schedules.dayplan.calc.resources import Skill
from schedules.dayplan.calc.search import layout as o
from schedules.dayplan.calc.search.calls import keep_if_best, take_out
from schedules.dayplan.calc.search.insert import find_gap
from schedules.dayplan.calc.search.layout import NEVER, NONE
from schedules.dayplan.calc.search.scratch import (
    AT_BEST_CL,
    AT_CL,
    AT_CP,
    AT_TEAM,
    R_BEST_GAP,
    R_BLINK,
    R_EARLY,
    R_NOISE,
)
from schedules.dayplan.calc.search.slack import OUT, clear_queue, loosen, propagate
from schedules.dayplan.calc.search.tables import Tables
from schedules.dayplan.calc.search.trial import NO_COST
from schedules.dayplan.calc.search.worker import Worker

from .days import farm_day
from .tiny import a_day, a_job, a_machine, a_person, at


def ends_along(worker: Worker, line: int) -> list[tuple[int, int]]:
    """Return when a line is free, and after which node, from its beginning on."""
    A, S = worker.A, worker.S
    found, node = [(-NEVER, NONE)], int(S[A[o.AT_LINE] + 2 * line])
    while node >= 0:
        found.append((worker.tables.end_at(S, node), node))
        node = int(S[A[o.AT_NODE] + node * o.NODE_WIDTH + o.D_AFTER])
    return found


def cheapest_of_all(worker: Worker, j: int) -> float:
    """Return what the cheapest gap costs, all tried: people, machines, and moments to put it in."""
    A, W, R, inst = worker.A, worker.W, worker.R, worker.inst
    task, n_units, at_machine = inst.tasks[j], len(inst.units), worker.tables.n_seats
    row = int(A[A[o.AT_JOB] + j * o.JOB_WIDTH + o.J_MODE])
    low = max(int(W[OUT]), min(start for start, _ in task.openings))
    R[R_BEST_GAP] = NO_COST
    for m, u in product(task.machines or (NONE,), range(n_units)):
        kind = worker.tables.first_kind(inst.problem.jobs[j], m)
        if A[A[o.AT_UNTIL] + kind * n_units + u] == -NEVER:
            continue
        lines = {0: ends_along(worker, u)}
        W[AT_CL:AT_BEST_CL] = NONE
        W[AT_CL], W[AT_TEAM] = u, u
        if m != NONE:
            W[AT_CL + at_machine] = n_units + m
        for i, place in enumerate(task.exclusive):
            W[AT_CL + at_machine + 1 + i] = n_units + len(inst.machine_free) + place
        for slot in range(at_machine, at_machine + 1 + len(task.exclusive)):
            if W[AT_CL + slot] >= 0:
                lines[slot] = ends_along(worker, int(W[AT_CL + slot]))
        ends = {max(low, end) for line in lines.values() for end, _ in line}
        for moment in sorted(ends):
            for slot, line in lines.items():
                W[AT_CP + slot] = [node for end, node in line if end <= moment][-1]
            keep_if_best(A, worker.B, worker.S, W, R, j, row, 1, m, -NEVER)
    return float(R[R_BEST_GAP])


@pytest.mark.parametrize("early", [0.0, 0.2 / 60])
def test_no_gap_is_cheaper_than_the_one_found(early: float) -> None:
    worker = Worker(Tables(Instance(farm_day(2, n_people_a_shift=10, n_checks=40))), seed=1)
    worker.begin()
    worker.go_on(100, 0.5)
    plan, found, cheapest, has_machine = worker.S.copy(), [], [], False
    jobs = [j for j in worker.free if worker.has(j) and worker.inst.tasks[j].n_people == 1]
    for j in jobs[::4]:
        worker.S[:] = plan
        worker.R[R_BLINK], worker.R[R_EARLY] = 0, early
        worker.R[R_NOISE : R_NOISE + len(worker.inst.units)] = [
            u * 0.37 % 1 for u in range(len(worker.inst.units))
        ]
        take_out(worker.A, worker.S, worker.W, j)
        if not propagate(worker.A, worker.S, worker.W):
            clear_queue(worker.A, worker.W)
            continue
        loosen(worker.A, worker.S, worker.W, NONE)
        if find_gap(worker.A, worker.B, worker.S, worker.W, worker.R, j, -NEVER, False):
            found.append(float(worker.R[R_BEST_GAP]))
            cheapest.append(cheapest_of_all(worker, j))
            has_machine |= bool(worker.inst.tasks[j].machines)

    assert len(found) > 30
    assert has_machine
    assert found == pytest.approx(cheapest, abs=1e-9)


def test_job_is_not_driven_after_the_licence_lapsed() -> None:
    """It could begin in time, and another stands before it: then one of the two is left out."""
    ana = a_person("ana", Skill("loader", at(30)))
    jobs = (a_job(key, machine_kinds=("loader",)) for key in ("one", "other"))
    problem = a_day(ana, a_machine(driver_skill="loader"), *jobs)

    solution = solve_day(problem, iterations=50)

    assert check(problem, solution).broken == ()
    assert len(solution.assignments) == 1
