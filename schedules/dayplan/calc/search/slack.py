"""Times follow lines: pushing starts forward, and how far each job can be pushed.

What a propagation changes is logged, so that an insertion that does not hold is undone.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.clock import before, last_fit
from schedules.dayplan.calc.search.layout import (
    D_AFTER,
    D_BEFORE,
    D_LINE,
    J_AWAITED,
    J_AWAITED_END,
    J_BUCKET,
    J_DUE,
    J_LOCKED,
    J_PLACE,
    J_WAITS,
    J_WAITS_END,
    L_LEAST,
    L_MOST,
    L_OTHER,
    L_RELATION,
    M_WORK,
    N_JOBS,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    S_CALL,
    S_END,
    S_LATEST,
    S_MACHINE,
    S_MODE,
    S_NOT_BEFORE,
    S_ON_TIME,
    S_START,
    U_BACK,
    U_END,
    U_WALK,
    WASH,
    X_FUEL_PLACE,
    Ints,
    is_placed,
    job,
    kind_of,
    lag,
    machine,
    mode,
    nd,
    set_st,
    st,
    unit,
    until,
    way,
)
from schedules.dayplan.calc.search.reach import (
    call_s,
    comes_along,
    drive_s,
    earliest,
    is_driver,
    is_from_end,
    is_to_start,
    load_crew,
    machine_place,
    mend_s,
    needs_wash,
    outlasts_tank,
    ready_by_lines,
)
from schedules.dayplan.calc.search.scratch import (
    AT_CREW,
    AT_LISTS,
    BACK,
    BACKED,
    LOG,
    QUEUE,
    QUEUED,
    TOUCHED,
    W_END,
    W_FAILED,
    W_N_LOG,
    W_N_QUEUE,
    W_N_TOUCHED,
    W_QUEUE_AT,
    at,
)

OUT = 20  # where bounds are written in the scratch
_ROUNDS = 30  # a job looked at so often in one propagation stands in a ring


@compiled
def ask(A: Ints, W: Ints, j: int, queue: int, queued: int) -> None:
    """Put a job at the end of a ring of jobs to look at, once."""
    if W[at(W, queued) + j] == 1:
        return
    W[at(W, queued) + j] = 1
    n = A[N_JOBS] + 1
    W[at(W, queue) + (W[W_QUEUE_AT] + W[W_N_QUEUE]) % n] = j
    W[W_N_QUEUE] += 1


@compiled
def next_asked(A: Ints, W: Ints, queue: int, queued: int) -> int:
    """Take the first job of the ring."""
    n = A[N_JOBS] + 1
    j = W[at(W, queue) + W[W_QUEUE_AT]]
    W[W_QUEUE_AT] = (W[W_QUEUE_AT] + 1) % n
    W[W_N_QUEUE] -= 1
    W[at(W, queued) + j] = 0
    return j


@compiled_apart
def ask_followers(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Ask to look at all jobs whose start may hang on a placed one."""
    slots = A[N_SLOTS]
    for k in range(slots):
        node = j * slots + k
        if nd(A, S, node, D_LINE) >= 0 and nd(A, S, node, D_AFTER) >= 0:
            ask(A, W, nd(A, S, node, D_AFTER) // slots, QUEUE, QUEUED)
    _ask_along_machine(A, S, W, j)
    for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
        if is_placed(S, lag(A, row, L_OTHER)):
            ask(A, W, lag(A, row, L_OTHER), QUEUE, QUEUED)
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        if lag(A, row, L_MOST) < NEVER and is_placed(S, lag(A, row, L_OTHER)):
            ask(A, W, lag(A, row, L_OTHER), QUEUE, QUEUED)


@compiled_apart
def _ask_along_machine(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Ask to look at later jobs of a machine that what is done before them reaches.

    The next job that touches something with the bucket may need a wash; with a tank, any of them
    may need a fuel stop.
    """
    m = st(S, j, S_MACHINE)
    if m < 0:
        return
    has_tank = machine(A, m, X_FUEL_PLACE) >= 0
    if not has_tank and job(A, j, J_BUCKET) == 0:
        return
    node = nd(A, S, j * A[N_SLOTS] + A[N_SEATS], D_AFTER)
    while node >= 0:
        ask(A, W, node // A[N_SLOTS], QUEUE, QUEUED)
        if not has_tank and job(A, node // A[N_SLOTS], J_BUCKET) != 0:
            return
        node = nd(A, S, node, D_AFTER)


@compiled
def log_times(S: Ints, W: Ints, j: int) -> None:
    """Remember a job's times as they are."""
    i = at(W, LOG) + 3 * W[W_N_LOG]
    W[i], W[i + 1], W[i + 2] = j, st(S, j, S_START), st(S, j, S_END)
    W[W_N_LOG] += 1


@compiled_apart
def undo_times(S: Ints, W: Ints) -> None:
    """Set all times back to what the log remembers."""
    for k in range(W[W_N_LOG] - 1, -1, -1):
        i = at(W, LOG) + 3 * k
        set_st(S, W[i], S_START, W[i + 1])
        set_st(S, W[i], S_END, W[i + 2])
    W[W_N_LOG] = 0


@compiled_apart
def clear_queue(A: Ints, W: Ints) -> None:
    """Forget what is still asked for."""
    while W[W_N_QUEUE] > 0:
        next_asked(A, W, QUEUE, QUEUED)


@compiled_apart
def _is_late_for_good(A: Ints, S: Ints, W: Ints, j: int, end: int) -> bool:
    """Whether skills lapse, or a shift ends, before a job put to end then is over."""
    row, m = st(S, j, S_MODE), st(S, j, S_MACHINE)
    for k in range(load_crew(A, S, W, j)):
        u = W[AT_CREW + k]
        if end > until(A, kind_of(A, row, m, k), u):
            return True
        back = unit(A, u, U_BACK)
        if back >= 0 and nd(A, S, j * A[N_SLOTS] + k, D_AFTER) < 0:
            home = way(A, unit(A, u, U_WALK), job(A, j, J_PLACE), back)
            if end > before(A, u, unit(A, u, U_END), home):
                return True
    return False


@compiled_apart
def propagate(A: Ints, S: Ints, W: Ints) -> bool:
    """Start every job that was asked for, and all that follows, as early as its lines allow.

    Returns False when one cannot be done any more, which W_FAILED then names; the log has all
    that was changed. A locked job stays: it fails when its people or its machine would come later
    than they must anyway, which its S_NOT_BEFORE says.
    """
    n_most = _ROUNDS * (A[N_JOBS] + 2)
    n_log_most = 2 * A[N_JOBS]
    n_looks, first = 0, W[W_N_LOG]
    while W[W_N_QUEUE] > 0:
        j = next_asked(A, W, QUEUE, QUEUED)
        n_looks += 1
        if not is_placed(S, j):
            continue
        W[W_FAILED] = j
        if job(A, j, J_LOCKED) == 1:
            if ready_by_lines(A, S, j, st(S, j, S_START)) > st(S, j, S_NOT_BEFORE):
                return False
            continue
        start = earliest(A, S, W, j, OUT)
        if start >= NEVER or n_looks > n_most or W[W_N_LOG] >= n_log_most:
            return False
        end = W[W_END]
        if start != st(S, j, S_START) or end != st(S, j, S_END):
            if _is_late_for_good(A, S, W, j, end):
                return False
            if outlasts_tank(A, j, st(S, j, S_MACHINE), end - start):
                return False
            log_times(S, W, j)
            set_st(S, j, S_START, start)
            set_st(S, j, S_END, end)
            ask_followers(A, S, W, j)
    return _keeps_gaps(A, S, W, first)


@compiled_apart
def _keeps_gaps(A: Ints, S: Ints, W: Ints, first: int) -> bool:
    """Whether all jobs changed since an entry of the log keep their greatest gaps both ways."""
    for i in range(first, W[W_N_LOG]):
        j = W[at(W, LOG) + 3 * i]
        if not keeps_gap(A, S, j):
            W[W_FAILED] = j
            return False
        for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
            other = lag(A, row, L_OTHER)
            if is_placed(S, other) and not keeps_gap(A, S, other):
                W[W_FAILED] = j if job(A, j, J_LOCKED) == 0 else other
                return False
    return True


@compiled_apart
def keeps_gap(A: Ints, S: Ints, j: int) -> bool:
    """Whether a placed job keeps least and greatest gaps to the jobs it waits for."""
    if job(A, j, J_LOCKED) == 1:
        return True
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        other, relation = lag(A, row, L_OTHER), lag(A, row, L_RELATION)
        if not is_placed(S, other):
            continue
        a = st(S, other, S_END) if is_from_end(relation) else st(S, other, S_START)
        b = st(S, j, S_START) if is_to_start(relation) else st(S, j, S_END)
        if not lag(A, row, L_LEAST) <= b - a <= lag(A, row, L_MOST):
            return False
    return True


# How far jobs can be pushed ---------------------------------------------------------------------


@compiled_apart
def departs_by(A: Ints, S: Ints, j: int, node: int, limit: int) -> int:
    """Return when a job must be over so that the next on a seat's line starts by `limit`."""
    slots = A[N_SLOTS]
    u, s = nd(A, S, node, D_LINE), nd(A, S, node, D_AFTER)
    follower, place = s // slots, job(A, j, J_PLACE)
    call = st(S, follower, S_CALL) if s % slots == 0 else NONE
    if not is_driver(A, S, s):
        return before(A, u, limit, call_s(A, u, call, place, job(A, follower, J_PLACE)))
    m = st(S, follower, S_MACHINE)
    prev = nd(A, S, follower * slots + A[N_SEATS], D_BEFORE)
    stand = machine_place(A, m, prev)
    work = st(S, follower, S_END) - st(S, follower, S_START)
    needed = drive_s(A, S, follower, m, prev, stand, 0, work)
    needed += mend_s(A, S, follower, m, prev, 0, comes_along(A, node, prev))
    return before(A, u, before(A, u, limit, needed), call_s(A, u, call, place, stand))


@compiled_apart
def released_by(A: Ints, S: Ints, j: int, node: int, limit: int) -> int:
    """Return when a job must be over so that its machine's next job starts by `limit`."""
    slots = A[N_SLOTS]
    s = nd(A, S, node, D_AFTER)
    follower, m = s // slots, nd(A, S, node, D_LINE) - A[N_UNITS]
    work = st(S, follower, S_END) - st(S, follower, S_START)
    needed = drive_s(A, S, follower, m, node, job(A, j, J_PLACE), 0, work)
    first = follower * slots
    if not is_driver(A, S, first):
        return limit - needed - (A[WASH] if needs_wash(A, S, follower, m, node, 0) else 0)
    along = comes_along(A, nd(A, S, first, D_BEFORE), node)
    needed += mend_s(A, S, follower, m, node, 0, along)
    return before(A, nd(A, S, first, D_LINE), limit, needed)


@compiled
def over_by(A: Ints, S: Ints, j: int, k: int, column: int) -> int:
    """Return when a job must be over for what follows in a slot to start by its limit."""
    node = j * A[N_SLOTS] + k
    line = nd(A, S, node, D_LINE)
    if line < 0:
        return NEVER
    s = nd(A, S, node, D_AFTER)
    if s < 0:
        if k >= A[N_SEATS] or unit(A, line, U_BACK) < 0:
            return NEVER
        home = way(A, unit(A, line, U_WALK), job(A, j, J_PLACE), unit(A, line, U_BACK))
        return before(A, line, unit(A, line, U_END), home)
    limit = st(S, s // A[N_SLOTS], column)
    if k < A[N_SEATS]:
        return departs_by(A, S, j, node, limit)
    return released_by(A, S, j, node, limit) if k == A[N_SEATS] else limit


@compiled_apart
def over_by_lags(A: Ints, S: Ints, j: int, column: int) -> int:
    """Return when a job must be over for what waits for it to start by its limit."""
    length = st(S, j, S_END) - st(S, j, S_START)
    found = NEVER
    for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
        other, relation = lag(A, row, L_OTHER), lag(A, row, L_RELATION)
        if not is_placed(S, other):
            continue
        limit = st(S, other, column)
        if not is_to_start(relation):
            limit += st(S, other, S_END) - st(S, other, S_START)
        limit -= lag(A, row, L_LEAST)
        found = min(found, limit if is_from_end(relation) else limit + length)
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        other, relation, most = lag(A, row, L_OTHER), lag(A, row, L_RELATION), lag(A, row, L_MOST)
        if most < NEVER and is_placed(S, other):
            limit = most + (st(S, other, S_END) if is_from_end(relation) else st(S, other, S_START))
            found = min(found, limit + length if is_to_start(relation) else limit)
    return found


@compiled_apart
def set_latest(A: Ints, S: Ints, W: Ints, j: int) -> bool:
    """Set how far a placed job can be pushed, at all and without making anything late.

    Returns whether that changed.
    """
    start, end = st(S, j, S_START), st(S, j, S_END)
    if job(A, j, J_LOCKED) == 1:
        return False
    last_end, on_time = over_by_lags(A, S, j, S_LATEST), over_by_lags(A, S, j, S_ON_TIME)
    for k in range(A[N_SLOTS]):
        last_end = min(last_end, over_by(A, S, j, k, S_LATEST))
        on_time = min(on_time, over_by(A, S, j, k, S_ON_TIME))
    n, row, m = load_crew(A, S, W, j), st(S, j, S_MODE), st(S, j, S_MACHINE)
    for k in range(n):
        last_end = min(last_end, until(A, kind_of(A, row, m, k), W[AT_CREW + k]))
        last_end = min(last_end, unit(A, W[AT_CREW + k], U_END))
    latest = start
    if last_end > end:
        work = mode(A, row, M_WORK)
        latest = last_fit(A, W, j, start, min(last_end, end + NEVER // 4), AT_CREW, n, m, work)
    due = job(A, j, J_DUE)
    room = min(on_time, due if end <= due else end) - end
    punctual = min(latest, start + max(0, room))
    is_other = latest != st(S, j, S_LATEST) or punctual != st(S, j, S_ON_TIME)
    set_st(S, j, S_LATEST, latest)
    set_st(S, j, S_ON_TIME, punctual)
    return is_other


@compiled
def ask_leaders(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Ask to look at all jobs that a placed one keeps from being pushed."""
    slots = A[N_SLOTS]
    for k in range(slots):
        node = j * slots + k
        if nd(A, S, node, D_LINE) >= 0 and nd(A, S, node, D_BEFORE) >= 0:
            ask(A, W, nd(A, S, node, D_BEFORE) // slots, BACK, BACKED)
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        if is_placed(S, lag(A, row, L_OTHER)):
            ask(A, W, lag(A, row, L_OTHER), BACK, BACKED)


@compiled_apart
def touch_leaders(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Remember what a placed job keeps from being pushed, before it is taken out."""
    slots = A[N_SLOTS]
    for k in range(slots):
        node = j * slots + k
        if nd(A, S, node, D_LINE) >= 0 and nd(A, S, node, D_BEFORE) >= 0:
            _touch(W, nd(A, S, node, D_BEFORE) // slots)
    for row in range(job(A, j, J_WAITS), job(A, j, J_WAITS_END)):
        _touch(W, lag(A, row, L_OTHER))
    for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
        _touch(W, lag(A, row, L_OTHER))


@compiled
def _touch(W: Ints, j: int) -> None:
    if W[W_N_TOUCHED] < W[AT_LISTS - 1]:
        W[at(W, TOUCHED) + W[W_N_TOUCHED]] = j
        W[W_N_TOUCHED] += 1


@compiled_apart
def loosen(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Set the latest starts again of a job, of all logged or touched, and of what they hang on."""
    if j >= 0:
        ask(A, W, j, BACK, BACKED)
        ask_leaders(A, S, W, j)
    for i in range(W[W_N_TOUCHED]):
        if is_placed(S, W[at(W, TOUCHED) + i]):
            ask(A, W, W[at(W, TOUCHED) + i], BACK, BACKED)
    W[W_N_TOUCHED] = 0
    for i in range(W[W_N_LOG]):
        changed = W[at(W, LOG) + 3 * i]
        if is_placed(S, changed):
            ask(A, W, changed, BACK, BACKED)
            ask_leaders(A, S, W, changed)
    W[W_N_LOG] = 0
    n_most = _ROUNDS * (A[N_JOBS] + 2)
    while W[W_N_QUEUE] > 0:
        one = next_asked(A, W, BACK, BACKED)
        n_most -= 1
        if is_placed(S, one) and n_most > 0 and set_latest(A, S, W, one):
            ask_leaders(A, S, W, one)
