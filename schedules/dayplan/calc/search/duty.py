"""How long a person is on duty: from leaving as late as may be to the end, with a job tried or not.

Starts in a plan are as early as can be. Here the jobs of one shift are moved towards what follows
them, which stays; only plain jobs of one person are.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.clock import after, before, end_of, last_fit
from schedules.dayplan.calc.search.layout import (
    AT_WEIGHT,
    D_BEFORE,
    D_LINE,
    J_AWAITED,
    J_AWAITED_END,
    J_DUE,
    J_LOCKED,
    J_OPEN,
    J_PLACE,
    J_PREV,
    J_PREV_END,
    J_WAITS,
    J_WAITS_END,
    M_PEOPLE,
    M_WORK,
    N_SEATS,
    N_SLOTS,
    NONE,
    S_CALL,
    S_END,
    S_MACHINE,
    S_MODE,
    S_NOT_BEFORE,
    S_START,
    U_BACK,
    U_PLACE,
    U_WALK,
    W_DUTY,
    Floats,
    Ints,
    head,
    is_placed,
    job,
    kind_of,
    mode,
    nd,
    node_after,
    opens,
    st,
    unit,
    until,
    way,
)
from schedules.dayplan.calc.search.reach import (
    call_s,
    comes_along,
    drive_s,
    is_driver,
    machine_place,
    mend_s,
)
from schedules.dayplan.calc.search.scratch import (
    AT_CL,
    AT_CP,
    AT_CREW,
    R_DUTY,
    TRIED,
    TRIED_START,
    W_CALLER,
    W_DROPPED,
    W_DUTY_OF,
    W_END,
    W_START,
    W_STORE,
    at,
)
from schedules.dayplan.calc.search.slack import over_by, over_by_lags


@compiled_apart
def way_to(A: Ints, S: Ints, u: int, node: int, place: int, call: int) -> int:
    """Return the time of a unit's way from a place to its job at a node, by a call on it."""
    j = node // A[N_SLOTS]
    if not is_driver(A, S, node):
        return call_s(A, u, call, place, job(A, j, J_PLACE))
    m = st(S, j, S_MACHINE)
    prev = nd(A, S, j * A[N_SLOTS] + A[N_SEATS], D_BEFORE)
    stand = machine_place(A, m, prev)
    work = st(S, j, S_END) - st(S, j, S_START)
    return call_s(A, u, call, place, stand) + drive_s(A, S, j, m, prev, stand, 0, work)


@compiled_apart
def _mend_at(A: Ints, S: Ints, node: int) -> int:
    """Return what washing and taking over its machine take before the job of a driver's node."""
    if not is_driver(A, S, node):
        return 0
    j = node // A[N_SLOTS]
    m, prev_m = st(S, j, S_MACHINE), nd(A, S, j * A[N_SLOTS] + A[N_SEATS], D_BEFORE)
    return mend_s(A, S, j, m, prev_m, 0, comes_along(A, nd(A, S, node, D_BEFORE), prev_m))


@compiled
def call_at(A: Ints, S: Ints, W: Ints, node: int) -> int:
    """Return where the person of a node calls before its job, with what is tried; NONE: nowhere."""
    j = node // A[N_SLOTS]
    if node % A[N_SLOTS] != 0 or j == W[W_DROPPED]:
        return NONE
    if j == W[W_CALLER]:
        return W[W_STORE]
    return st(S, j, S_CALL) if is_placed(S, j) else NONE


@compiled
def lead_s(A: Ints, S: Ints, W: Ints, u: int, node: int, place: int) -> int:
    """Return the time from leaving a place to the start of a node's job, nothing waited for."""
    if not is_placed(S, node // A[N_SLOTS]):
        return call_s(A, u, call_at(A, S, W, node), place, job(A, node // A[N_SLOTS], J_PLACE))
    return way_to(A, S, u, node, place, call_at(A, S, W, node)) + _mend_at(A, S, node)


@compiled
def _may_move(A: Ints, S: Ints, W: Ints, node: int) -> bool:
    j = node // A[N_SLOTS]
    if (
        node % A[N_SLOTS] != 0
        or job(A, j, J_LOCKED) == 1
        or job(A, j, J_PREV) < job(A, j, J_PREV_END)
    ):
        return False
    if is_placed(S, j):
        return mode(A, st(S, j, S_MODE), M_PEOPLE) == 1 and st(S, j, S_MACHINE) < 0
    is_alone = A[N_SEATS] == 1 or W[AT_CL + 1] < 0
    return is_alone and W[AT_CL + A[N_SEATS]] < 0


@compiled_apart
def _latest(A: Ints, S: Ints, W: Ints, u: int, node: int, by: int) -> int:
    """Return how late a job may start to be over by an instant and to push, or delay, nothing."""
    slots, j = A[N_SLOTS], node // A[N_SLOTS]
    start = W[at(W, TRIED_START) + j]
    if not _may_move(A, S, W, node):
        return start
    if not is_placed(S, j):
        length = W[W_END] - W[W_START]
        by = min(by, max(job(A, j, J_DUE), start + length))
        W[AT_CREW] = u
        return (
            last_fit(A, W, j, start, by, AT_CREW, 1, NONE, length) if by > start + length else start
        )
    length = st(S, j, S_END) - st(S, j, S_START)
    by = min(by, max(job(A, j, J_DUE), start + length))
    row = st(S, j, S_MODE)
    by = min(by, until(A, kind_of(A, row, st(S, j, S_MACHINE), 0), u))
    has_lags = job(A, j, J_WAITS) < job(A, j, J_WAITS_END)
    if has_lags or job(A, j, J_AWAITED) < job(A, j, J_AWAITED_END):
        by = min(by, over_by_lags(A, S, j, S_START))
    for k in range(1, slots):
        if nd(A, S, j * slots + k, D_LINE) >= 0:
            by = min(by, over_by(A, S, j, k, S_START))
    if by <= start + length:
        return start
    W[AT_CREW] = u
    late = last_fit(A, W, j, start, by, AT_CREW, 1, NONE, mode(A, row, M_WORK))
    end = end_of(A, W, j, AT_CREW, 1, late, mode(A, row, M_WORK))
    return late if end - late == length else start


@compiled_apart
def load_line(A: Ints, S: Ints, W: Ints, u: int) -> int:
    """Lay a unit's jobs and their starts into the scratch; return how many they are."""
    n, node = 0, head(A, S, u)
    while node >= 0:
        W[at(W, TRIED) + n] = node
        W[at(W, TRIED_START) + node // A[N_SLOTS]] = st(S, node // A[N_SLOTS], S_START)
        n += 1
        node = node_after(A, S, u, node)
    return n


@compiled
def _begin(A: Ints, S: Ints, W: Ints, node: int, arrival: int, is_sooner: bool) -> int:
    """Return when a job begins with another arrival, no more than what is plain looked at."""
    j = node // A[N_SLOTS]
    start = st(S, j, S_START)
    if arrival >= start or not is_sooner or not _may_move(A, S, W, node):
        return max(arrival, start)
    return min(start, max(arrival, st(S, j, S_NOT_BEFORE), opens(A, job(A, j, J_OPEN))))


@compiled_apart
def _load_tried(A: Ints, S: Ints, W: Ints, j: int, k: int) -> int:
    """Lay a unit's jobs with the one tried among them, and their starts, into the scratch.

    Starts of those that a new call delays before it must be there already.
    """
    slots, starts, order = A[N_SLOTS], at(W, TRIED_START), at(W, TRIED)
    u, prev = W[AT_CL + k], W[AT_CP + k]
    n, node, is_delayed = 0, NONE, False
    while node != prev:
        node = node_after(A, S, u, node)
        is_delayed |= node // slots == W[W_CALLER]
        if not is_delayed:
            W[starts + node // slots] = st(S, node // slots, S_START)
        W[order + n] = node
        n += 1
    W[order + n], W[starts + j] = j * slots + k, W[W_START]
    n += 1
    end, place = W[W_END], job(A, j, J_PLACE)
    is_same, is_sooner = False, False
    node = node_after(A, S, u, prev)
    while node >= 0:
        other = node // slots
        start = st(S, other, S_START)
        if not is_same:
            is_sooner |= other == W[W_DROPPED]
            arrival = after(A, u, end, lead_s(A, S, W, u, node, place))
            start = _begin(A, S, W, node, arrival, is_sooner)
            is_same = start == st(S, other, S_START) and (is_sooner or W[W_DROPPED] < 0)
        W[order + n], W[starts + other] = node, start
        n += 1
        end, place = start + st(S, other, S_END) - st(S, other, S_START), job(A, other, J_PLACE)
        node = node_after(A, S, u, node)
    return n


@compiled_apart
def end_of_shift(A: Ints, S: Ints, W: Ints, u: int, n: int) -> int:
    """Return when the jobs laid into the scratch are over and the person is back."""
    j = W[at(W, TRIED) + n - 1] // A[N_SLOTS]
    length = st(S, j, S_END) - st(S, j, S_START) if is_placed(S, j) else W[W_END] - W[W_START]
    end, back = W[at(W, TRIED_START) + j] + length, unit(A, u, U_BACK)
    return (
        end if back < 0 else after(A, u, end, way(A, unit(A, u, U_WALK), job(A, j, J_PLACE), back))
    )


@compiled_apart
def leave_at(A: Ints, S: Ints, W: Ints, u: int, n: int) -> int:
    """Return when a unit leaves for the jobs laid into the scratch; move these there so late."""
    slots, starts, order = A[N_SLOTS], at(W, TRIED_START), at(W, TRIED)
    for i in range(n - 1, 0, -1):
        node = W[order + i - 1]
        lead = lead_s(A, S, W, u, W[order + i], job(A, node // slots, J_PLACE))
        by = before(A, u, W[starts + W[order + i] // slots], lead)
        W[starts + node // slots] = _latest(A, S, W, u, node, by)
    first = W[order]
    lead = lead_s(A, S, W, u, first, unit(A, u, U_PLACE))
    return before(A, u, W[starts + first // slots], lead)


@compiled_apart
def duty_s(A: Ints, S: Ints, W: Ints, u: int) -> int:
    """Return how long a unit is on duty [s]."""
    n = load_line(A, S, W, u)
    return 0 if n == 0 else end_of_shift(A, S, W, u, n) - leave_at(A, S, W, u, n)


@compiled_apart
def remember_duty(A: Ints, S: Ints, W: Ints, R: Floats, u: int) -> None:
    """Remember how long a unit is on duty as the plan stands, until R_DUTY is asked of another."""
    if W[W_DUTY_OF] != u:
        caller, dropped = W[W_CALLER], W[W_DROPPED]
        W[W_CALLER], W[W_DROPPED] = NONE, NONE
        R[R_DUTY] = duty_s(A, S, W, u)
        W[W_DUTY_OF], W[W_CALLER], W[W_DROPPED] = u, caller, dropped


@compiled_apart
def added_duty(A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, k: int) -> float:
    """Return what more of duty a job tried costs for the person in one of its seats."""
    price, u = B[A[AT_WEIGHT] + W_DUTY], W[AT_CL + k]
    remember_duty(A, S, W, R, u)
    n = _load_tried(A, S, W, j, k)
    return (end_of_shift(A, S, W, u, n) - leave_at(A, S, W, u, n) - R[R_DUTY]) * price
