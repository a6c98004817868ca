"""When people and machines can be at a job, given what they do before it."""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.clock import after, fit
from schedules.dayplan.calc.search.layout import (
    AT_CALL,
    D_AFTER,
    D_BEFORE,
    D_LINE,
    FINISH_TO_FINISH,
    FINISH_TO_START,
    J_AWAITED,
    J_AWAITED_END,
    J_BUCKET,
    J_DRIVEN,
    J_PLACE,
    J_WAITS,
    J_WAITS_END,
    L_LEAST,
    L_MOST,
    L_OTHER,
    L_RELATION,
    M_PEOPLE,
    M_WORK,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    S_CALL,
    S_END,
    S_MACHINE,
    S_MODE,
    S_NOT_BEFORE,
    S_START,
    START_TO_START,
    U_PLACE,
    U_START,
    U_WALK,
    WASH,
    X_BUCKET,
    X_DRIVE,
    X_FILL,
    X_FREE,
    X_FREE_END,
    X_FUEL_FULL,
    X_FUEL_LEFT,
    X_FUEL_PLACE,
    X_HOOKUP,
    X_PLACE,
    Ints,
    head,
    is_placed,
    job,
    lag,
    machine,
    mode,
    nd,
    node_end,
    opens,
    st,
    unit,
    way,
)
from schedules.dayplan.calc.search.scratch import AT_CREW

CLEAN, DIRTY = 1, 2


@compiled
def unit_place(A: Ints, u: int, node: int) -> int:
    """Where a unit stands after a node, or at the start of its shift."""
    return unit(A, u, U_PLACE) if node < 0 else job(A, node // A[N_SLOTS], J_PLACE)


@compiled
def unit_free_at(A: Ints, S: Ints, u: int, node: int) -> int:
    """When a unit is free after a node, or at the start of its shift."""
    return unit(A, u, U_START) if node < 0 else node_end(A, S, node)


@compiled
def machine_place(A: Ints, m: int, node: int) -> int:
    """Where a machine stands after a node, or at first."""
    return machine(A, m, X_PLACE) if node < 0 else job(A, node // A[N_SLOTS], J_PLACE)


@compiled
def machine_free_at(A: Ints, S: Ints, node: int) -> int:
    """When a machine is free after a node, or long ago."""
    return -NEVER if node < 0 else node_end(A, S, node)


@compiled
def call_s(A: Ints, u: int, call: int, place: int, to: int) -> int:
    """Return the time of a unit's way from place to place, by a call on it if `call` says where."""
    speed = unit(A, u, U_WALK)
    if call < 0:
        return way(A, speed, place, to)
    return way(A, speed, place, call) + A[A[AT_CALL] + call] + way(A, speed, call, to)


@compiled
def is_driver(A: Ints, S: Ints, node: int) -> bool:
    """Whether the unit of a node drives its job's machine."""
    j = node // A[N_SLOTS]
    return node % A[N_SLOTS] == 0 and st(S, j, S_MACHINE) >= 0 and job(A, j, J_DRIVEN) == 1


@compiled
def needs_wash(A: Ints, S: Ints, j: int, m: int, node: int, bucket: int) -> bool:
    """Whether the machine's bucket must be washed for a job after a node.

    `bucket` is what a job put between the two touches, 0 if nothing.
    """
    if job(A, j, J_BUCKET) != CLEAN:
        return False
    while bucket == 0 and node >= 0:
        bucket = job(A, node // A[N_SLOTS], J_BUCKET)
        node = nd(A, S, node, D_BEFORE)
    if bucket == 0:
        bucket = machine(A, m, X_BUCKET)
    return bucket == DIRTY


@compiled_apart
def fuel_left(A: Ints, S: Ints, m: int, node: int, extra: int) -> int:
    """Return the work that a machine can still do after a node and `extra` more work [s]."""
    left = machine(A, m, X_FUEL_LEFT)
    line = A[N_UNITS] + m
    at = head(A, S, line) if node >= 0 else NONE
    while at >= 0:
        j = at // A[N_SLOTS]
        work = st(S, j, S_END) - st(S, j, S_START) if job(A, j, J_DRIVEN) == 1 else 0
        if work > left:
            left = machine(A, m, X_FUEL_FULL)
        left -= work
        if at == node:
            break
        at = nd(A, S, at, D_AFTER)
    if extra > left:
        left = machine(A, m, X_FUEL_FULL)
    return left - extra


@compiled
def drive_s(A: Ints, S: Ints, j: int, m: int, node: int, place: int, extra: int, work: int) -> int:
    """Return the time of a machine's way from a place to a job, by its fuel stop if it needs one.

    It stands at `place` after `node` and, if `extra` is above 0, a job put in that takes so long.
    """
    speed, to, fuel = machine(A, m, X_DRIVE), job(A, j, J_PLACE), machine(A, m, X_FUEL_PLACE)
    if fuel >= 0 and job(A, j, J_DRIVEN) == 1 and work > fuel_left(A, S, m, node, extra):
        return way(A, speed, place, fuel) + machine(A, m, X_FILL) + way(A, speed, fuel, to)
    return way(A, speed, place, to)


@compiled
def outlasts_tank(A: Ints, j: int, m: int, length: int) -> bool:
    """Whether a job of this length takes more than its machine's full tank."""
    if m < 0 or machine(A, m, X_FUEL_PLACE) < 0 or job(A, j, J_DRIVEN) == 0:
        return False
    return bool(length > machine(A, m, X_FUEL_FULL))


@compiled
def released(A: Ints, m: int, near: int) -> int:
    """When the machine's free time began in which an instant lies, or the last before it."""
    found = -NEVER
    for i in range(machine(A, m, X_FREE), machine(A, m, X_FREE_END)):
        if opens(A, i) <= near:
            found = opens(A, i)
    return found


@compiled
def driven(
    A: Ints, u: int, m: int, free_at: int, walk: int, machine_at: int, needed: int, near: int
) -> int:
    """When a unit has walked to a machine, made it ready and driven it to a job."""
    at = max(after(A, u, free_at, walk), machine_at, released(A, m, near))
    return after(A, u, at, needed)


@compiled
def mend_s(A: Ints, S: Ints, j: int, m: int, node_m: int, bucket: int, comes_along: bool) -> int:
    """Return what washing and taking over a machine before a job take [s]."""
    needed = A[WASH] if needs_wash(A, S, j, m, node_m, bucket) else 0
    if job(A, j, J_DRIVEN) == 1 and not comes_along:
        needed += machine(A, m, X_HOOKUP)
    return needed


@compiled
def comes_along(A: Ints, node_u: int, node_m: int) -> bool:
    """Whether driver and machine come from the same job."""
    return node_u >= 0 and node_m >= 0 and node_u // A[N_SLOTS] == node_m // A[N_SLOTS]


@compiled_apart
def load_crew(A: Ints, S: Ints, W: Ints, j: int) -> int:
    """Lay the team of a placed job into the scratch; return how many they are."""
    n = mode(A, st(S, j, S_MODE), M_PEOPLE)
    for k in range(n):
        W[AT_CREW + k] = nd(A, S, j * A[N_SLOTS] + k, D_LINE)
    return n


@compiled_apart
def ready_by_lines(A: Ints, S: Ints, j: int, near: int) -> int:
    """When all that a placed job holds is there, given what stands before it on each line."""
    slots = A[N_SLOTS]
    m, ready = st(S, j, S_MACHINE), st(S, j, S_NOT_BEFORE)
    place, call = job(A, j, J_PLACE), st(S, j, S_CALL)
    for k in range(slots):
        node = j * slots + k
        line = nd(A, S, node, D_LINE)
        if line < 0:
            continue
        prev = nd(A, S, node, D_BEFORE)
        if k < A[N_SEATS]:
            if k == 0 and is_driver(A, S, node):
                continue
            stop = unit_place(A, line, prev)
            walk = call_s(A, line, call if k == 0 else NONE, stop, place)
            ready = max(ready, after(A, line, unit_free_at(A, S, line, prev), walk))
        elif k == A[N_SEATS]:
            ready = max(ready, ready_machine(A, S, j, m, prev, near))
        elif prev >= 0:
            ready = max(ready, node_end(A, S, prev))
    return ready


@compiled_apart
def ready_machine(A: Ints, S: Ints, j: int, m: int, prev: int, near: int) -> int:
    """When a placed job's machine is there, driven or brought."""
    node = j * A[N_SLOTS]
    stand = machine_place(A, m, prev)
    work = st(S, j, S_END) - st(S, j, S_START)
    drive = drive_s(A, S, j, m, prev, stand, 0, work)
    if not is_driver(A, S, node):
        wash = A[WASH] if needs_wash(A, S, j, m, prev, 0) else 0
        return max(machine_free_at(A, S, prev), released(A, m, near)) + drive + wash
    u, before_u = nd(A, S, node, D_LINE), nd(A, S, node, D_BEFORE)
    walk = call_s(A, u, st(S, j, S_CALL), unit_place(A, u, before_u), stand)
    needed = drive + mend_s(A, S, j, m, prev, 0, comes_along(A, before_u, prev))
    free_at = unit_free_at(A, S, u, before_u)
    return driven(A, u, m, free_at, walk, machine_free_at(A, S, prev), needed, near)


@compiled
def is_from_end(relation: int) -> bool:
    """Whether a relation counts from the end of the job waited for."""
    return relation in (FINISH_TO_START, FINISH_TO_FINISH)


@compiled
def is_to_start(relation: int) -> bool:
    """Whether a relation counts to the start of the job that waits."""
    return relation in (FINISH_TO_START, START_TO_START)


@compiled_apart
def bounds(A: Ints, S: Ints, W: Ints, j: int, out: int) -> bool:
    """Write first and last start, first and last end of a job by its lags to placed jobs.

    Of jobs that wait for it only the first ends count here: how far they can be pushed is known
    by their latest starts. Returns whether all that it waits for is placed.
    """
    W[out], W[out + 1], W[out + 2], W[out + 3] = -NEVER, NEVER, -NEVER, NEVER
    is_whole = True
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        other, relation = lag(A, row, L_OTHER), lag(A, row, L_RELATION)
        if not is_placed(S, other):
            is_whole = False
            continue
        at = st(S, other, S_END) if is_from_end(relation) else st(S, other, S_START)
        k = 0 if is_to_start(relation) else 2
        W[out + k] = max(W[out + k], at + lag(A, row, L_LEAST))
        if lag(A, row, L_MOST) < NEVER:
            W[out + k + 1] = min(W[out + k + 1], at + lag(A, row, L_MOST))
    for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
        other, relation = lag(A, row, L_OTHER), lag(A, row, L_RELATION)
        if not is_placed(S, other) or lag(A, row, L_MOST) >= NEVER:
            continue
        at = st(S, other, S_START) if is_to_start(relation) else st(S, other, S_END)
        k = 2 if is_from_end(relation) else 0
        W[out + k] = max(W[out + k], at - lag(A, row, L_MOST))
    return is_whole


@compiled_apart
def earliest(A: Ints, S: Ints, W: Ints, j: int, out: int) -> int:
    """Return when a placed job can start at the earliest, its end in the scratch; NEVER if not.

    `out` is where its bounds by lags may be written.
    """
    n = load_crew(A, S, W, j)
    bounds(A, S, W, j, out)
    m, work = st(S, j, S_MACHINE), mode(A, st(S, j, S_MODE), M_WORK)
    near = st(S, j, S_START)
    while True:
        at = max(ready_by_lines(A, S, j, near), W[out])
        at = fit(A, W, j, at, W[out + 2], AT_CREW, n, m, work)
        if at == NEVER or m < 0 or released(A, m, at) <= released(A, m, near):
            return at
        near = at
