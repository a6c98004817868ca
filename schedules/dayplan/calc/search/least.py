"""What a job costs at the least in a gap, from ways and ends alone, so that few need a whole trial.

Ways are taken to be the shortest: by way of a third place none is shorter.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.layout import (
    D_BEFORE,
    D_LINE,
    J_DRIVEN,
    J_DUE,
    J_ITEMS,
    J_ITEMS_END,
    J_PLACE,
    N_SEATS,
    N_SLOTS,
    NEVER,
    NONE,
    P_LATE,
    S_CALL,
    S_LATEST,
    S_MACHINE,
    U_BACK,
    U_END,
    U_N_SKILLS,
    U_WALK,
    W_DUTY,
    W_TRAVEL,
    X_DRIVE,
    X_FUEL_PLACE,
    Floats,
    Ints,
    job,
    machine,
    nd,
    node_after,
    node_end,
    st,
    unit,
    way,
)
from schedules.dayplan.calc.search.reach import (
    call_s,
    is_driver,
    machine_place,
    unit_free_at,
    unit_place,
)
from schedules.dayplan.calc.search.scratch import (
    AT_CL,
    AT_CP,
    AT_TEAM,
    R_BEST_GAP,
    R_EARLY,
    R_NOISE,
    W_BY,
    W_START,
)
from schedules.dayplan.calc.search.trial import (
    NO_COST,
    PER_SKILL,
    price,
    weight,
)


@compiled_apart
def least_of_seat(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, k: int, m: int, work: int
) -> float:
    """Return the least that a job adds by one of its team in the scratch's gap, whenever it starts.

    The first and the last start that the gap allows are left in the scratch. -NO_COST: that takes
    a whole trial, since a machine comes along, or duty and calls count.
    """
    u, prev, place = W[AT_TEAM + k], W[AT_CP + k], job(A, j, J_PLACE)
    speed, stood = unit(A, u, U_WALK), unit_place(A, u, prev)
    there = way(A, speed, stood, place)
    if k == 0 and m >= 0 and job(A, j, J_DRIVEN) == 1:
        stand = machine_place(A, m, W[AT_CP + A[N_SEATS]])
        there = way(A, speed, stood, stand) + way(A, machine(A, m, X_DRIVE), stand, place)
    W[W_START], W[W_BY] = unit_free_at(A, S, u, prev) + there, NEVER
    if weight(B, A, W_DUTY) > 0 or job(A, j, J_ITEMS) < job(A, j, J_ITEMS_END):
        return -NO_COST
    s = node_after(A, S, u, prev)
    if s >= 0:
        follower = s // A[N_SLOTS]
        call = st(S, follower, S_CALL) if s % A[N_SLOTS] == 0 else NONE
        to = job(A, follower, J_PLACE)
        if is_driver(A, S, s):
            if st(S, follower, S_MACHINE) == m:
                return -NO_COST
            node_m = follower * A[N_SLOTS] + A[N_SEATS]
            to = machine_place(A, st(S, follower, S_MACHINE), nd(A, S, node_m, D_BEFORE))
        onward = call_s(A, u, call, place, to)
        W[W_BY] = st(S, follower, S_LATEST) - onward - work
        there += onward - call_s(A, u, call, stood, to)
    elif unit(A, u, U_BACK) >= 0:
        home = way(A, speed, place, unit(A, u, U_BACK))
        W[W_BY] = unit(A, u, U_END) - home - work
        there += home - (way(A, speed, stood, unit(A, u, U_BACK)) if prev >= 0 else 0)
    return there * weight(B, A, W_TRAVEL) + R[R_NOISE + u] + unit(A, u, U_N_SKILLS) * PER_SKILL


@compiled_apart
def least_of_machine(A: Ints, B: Floats, S: Ints, W: Ints, j: int, m: int, end: int) -> float:
    """Return the least that a job not over before an end adds by its machine's next job.

    NO_COST and -NO_COST as `least_of_seat` has them.
    """
    slots, place, prev = A[N_SLOTS], job(A, j, J_PLACE), W[AT_CP + A[N_SEATS]]
    s = node_after(A, S, W[AT_CL + A[N_SEATS]], prev)
    if s < 0:
        return 0.0
    follower, first = s // slots, s // slots * slots
    drive = way(A, machine(A, m, X_DRIVE), place, job(A, follower, J_PLACE))
    if end + drive > st(S, follower, S_LATEST):
        return NO_COST
    if not is_driver(A, S, first):
        return 0.0
    u, prev_u = nd(A, S, first, D_LINE), nd(A, S, first, D_BEFORE)
    if W[AT_TEAM] == u and W[AT_CP] == prev_u:
        return 0.0
    if machine(A, m, X_FUEL_PLACE) >= 0:
        return -NO_COST
    stand, stood = machine_place(A, m, prev), unit_place(A, u, prev_u)
    call = st(S, follower, S_CALL)
    walk = call_s(A, u, call, stood, place) - call_s(A, u, call, stood, stand)
    drive -= way(A, machine(A, m, X_DRIVE), stand, job(A, follower, J_PLACE))
    return (walk + drive) * weight(B, A, W_TRAVEL)


@compiled
def least_of_job(A: Ints, B: Floats, R: Floats, j: int, start: int, work: int) -> float:
    """Return the least that a job costs itself if it starts no sooner."""
    late = max(0, start + work - job(A, j, J_DUE))
    return start * R[R_EARLY] + late * price(B, j, P_LATE)


@compiled_apart
def is_too_dear(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, m: int, low: int, work: int
) -> bool:
    """Whether one person's gap in the scratch cannot be cheaper than the best so far."""
    cost = least_of_seat(A, B, S, W, R, j, 0, m, work)
    start = max(low, W[W_START])
    if start > W[W_BY]:
        return True
    if m >= 0:
        prev = W[AT_CP + A[N_SEATS]]
        if prev >= 0:
            place, to = machine_place(A, m, prev), job(A, j, J_PLACE)
            start = max(start, node_end(A, S, prev) + way(A, machine(A, m, X_DRIVE), place, to))
        cost += least_of_machine(A, B, S, W, j, m, start + work)
    return cost + least_of_job(A, B, R, j, start, work) >= R[R_BEST_GAP]
