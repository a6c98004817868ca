"""Which jobs to take out of a plan, so that putting them back may better it.

References
----------
J. Christiaens, G. Vanden Berghe, "Slack induction by string removals for vehicle routing problems",
Transportation Science 54 (2020) 417-433, doi:10.1287/trsc.2019.0914 (from memory): strings of
neighbouring jobs on neighbouring lines, put back greedily with blinks.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.layout import (
    D_AFTER,
    D_BEFORE,
    D_LINE,
    J_AWAITED,
    J_AWAITED_END,
    J_EXCL,
    J_EXCL_END,
    J_HOPELESS,
    J_LOCKED,
    J_MODE,
    J_MODE_END,
    J_OPEN,
    J_OPEN_END,
    J_PLACE,
    J_WAITS,
    J_WAITS_END,
    L_MOST,
    L_OTHER,
    M_MACHINES,
    M_MACHINES_END,
    M_PEOPLE,
    M_SEATS,
    M_WORK,
    N_JOBS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    P_LEFT_OUT,
    S_END,
    S_START,
    U_END,
    U_START,
    Floats,
    Ints,
    closes,
    head,
    is_placed,
    job,
    lag,
    listed,
    mode,
    nd,
    node_after,
    node_end,
    opens,
    st,
    unit,
    until,
    way,
)
from schedules.dayplan.calc.search.lines import take_off
from schedules.dayplan.calc.search.scratch import (
    AT_TEAM,
    MARK,
    NEAR,
    W_N_NEAR,
    at,
    draw,
    draw_below,
)
from schedules.dayplan.calc.search.slack import (
    ask_followers,
    touch_leaders,
)
from schedules.dayplan.calc.search.trial import price

STRINGS, TOGETHER, LINE, ANYWHERE, N_WAYS = range(5)
_MOST = 10  # jobs that one ruin aims at
_ROOM_S, _MOST_ROOM_S = 120, 1200  # cleared beside a job that is to get in, for the way there
_NEAR_S = 3600


@compiled
def _mark(A: Ints, W: Ints, j: int) -> None:
    """Choose a job to be taken out, once."""
    if job(A, j, J_LOCKED) == 1 or W[at(W, MARK) + j] == 1:
        return
    W[at(W, MARK) + j] = 1
    W[at(W, NEAR) + W[W_N_NEAR]] = j
    W[W_N_NEAR] += 1


@compiled_apart
def _mark_string(A: Ints, S: Ints, W: Ints, j: int, length: int) -> None:
    """Choose jobs that follow each other on one of a job's lines, itself among them."""
    slots, node = A[N_SLOTS], NONE
    n_lines = 0
    for k in range(slots):
        if nd(A, S, j * slots + k, D_LINE) >= 0:
            n_lines += 1
            if draw(W) * n_lines < 1:
                node = j * slots + k
    _mark(A, W, j)
    before, then = node, node
    for _ in range(length - 1):
        if node < 0:
            return
        if draw(W) < 0.5 and nd(A, S, before, D_BEFORE) >= 0:
            before = nd(A, S, before, D_BEFORE)
            _mark(A, W, before // slots)
        elif nd(A, S, then, D_AFTER) >= 0:
            then = nd(A, S, then, D_AFTER)
            _mark(A, W, then // slots)


@compiled_apart
def _mark_strings(A: Ints, S: Ints, W: Ints, seed: int, n_aim: int) -> None:
    """Choose strings on lines near a job in time and place."""
    length = 1 + draw_below(W, 6)
    by_time = 0.1 + draw(W)
    start = st(S, seed, S_START)
    _mark_string(A, S, W, seed, length)
    while W[W_N_NEAR] < n_aim:
        best, best_far = NONE, 1e300
        for j in range(A[N_JOBS]):
            if W[at(W, MARK) + j] == 1 or not is_placed(S, j) or job(A, j, J_LOCKED) == 1:
                continue
            apart = way(A, 0, job(A, seed, J_PLACE), job(A, j, J_PLACE))
            far = (apart + by_time * abs(st(S, j, S_START) - start)) * (0.7 + 0.6 * draw(W))
            if far < best_far:
                best, best_far = j, far
        if best < 0:
            return
        _mark_string(A, S, W, best, 1 + draw_below(W, length))


@compiled_apart
def _mark_line(A: Ints, S: Ints, W: Ints, line: int, low: int, high: int, share: float) -> None:
    """Choose jobs of a line that meet a span, each with a chance."""
    node = head(A, S, line)
    while node >= 0:
        j = node // A[N_SLOTS]
        if st(S, j, S_START) < high and low < node_end(A, S, node) and draw(W) < share:
            _mark(A, W, j)
        node = node_after(A, S, line, node)


@compiled_apart
def _mark_together(A: Ints, S: Ints, W: Ints, seed: int, low: int, high: int, n_aim: int) -> None:
    """Choose jobs near a span on lines that a job could use."""
    row = job(A, seed, J_MODE) + draw_below(W, job(A, seed, J_MODE_END) - job(A, seed, J_MODE))
    share = 0.3 + 0.7 * draw(W)
    for i in range(job(A, seed, J_EXCL), job(A, seed, J_EXCL_END)):
        _mark_line(A, S, W, listed(A, i), low, high, 1.0)
    for i in range(mode(A, row, M_MACHINES), mode(A, row, M_MACHINES_END), 2):
        if listed(A, i) >= 0 and W[W_N_NEAR] < n_aim:
            _mark_line(A, S, W, A[N_UNITS] + listed(A, i), low, high, share)
    first = draw_below(W, A[N_UNITS]) if A[N_UNITS] > 0 else 0
    for i in range(A[N_UNITS]):
        u = (first + i) % A[N_UNITS]
        for k in range(mode(A, row, M_PEOPLE)):
            if W[W_N_NEAR] < n_aim and until(A, listed(A, mode(A, row, M_SEATS) + k), u) >= low:
                _mark_line(A, S, W, u, low, high, share)


@compiled
def _busy(A: Ints, S: Ints, W: Ints, u: int, low: int, high: int) -> int:
    """Return the work a unit has in a span beside what is marked already [s]."""
    node, total = head(A, S, u), 0
    while node >= 0:
        j = node // A[N_SLOTS]
        if st(S, j, S_START) < high and low < node_end(A, S, node) and W[at(W, MARK) + j] == 0:
            total += st(S, j, S_END) - st(S, j, S_START)
        node = node_after(A, S, u, node)
    return total


@compiled_apart
def _mark_in_the_way(A: Ints, S: Ints, W: Ints, seed: int) -> None:
    """Choose all that keeps one team and machine from doing a job at one time."""
    row = job(A, seed, J_MODE) + draw_below(W, job(A, seed, J_MODE_END) - job(A, seed, J_MODE))
    i = job(A, seed, J_OPEN) + draw_below(W, job(A, seed, J_OPEN_END) - job(A, seed, J_OPEN))
    work = mode(A, row, M_WORK)
    start = opens(A, i) + draw_below(W, max(0, closes(A, i) - work - opens(A, i)) + 1)
    room = _ROOM_S + int(draw(W) * draw(W) * _MOST_ROOM_S)
    low, high = start - room, start + work + room
    for i in range(job(A, seed, J_EXCL), job(A, seed, J_EXCL_END)):
        _mark_line(A, S, W, listed(A, i), low, high, 1.0)
    first, last = mode(A, row, M_MACHINES), mode(A, row, M_MACHINES_END)
    i = first + 2 * draw_below(W, (last - first) // 2)
    if listed(A, i) >= 0:
        _mark_line(A, S, W, A[N_UNITS] + listed(A, i), low, high, 1.0)
    for k in range(mode(A, row, M_PEOPLE)):
        kind = listed(A, i + 1) if k == 0 else listed(A, mode(A, row, M_SEATS) + k)
        found, least = NONE, 1e300
        for u in range(A[N_UNITS]):
            if until(A, kind, u) < start + work or unit(A, u, U_START) > start:
                continue
            if unit(A, u, U_END) < start + work:
                continue
            is_taken = False
            for q in range(k):
                is_taken |= W[AT_TEAM + q] == u
            if is_taken:
                continue
            busy = (60 + _busy(A, S, W, u, low, high)) * (0.2 + draw(W))
            if busy < least:
                found, least = u, busy
        W[AT_TEAM + k] = found
        if found >= 0:
            _mark_line(A, S, W, found, low, high, 1.0)


@compiled
def _any_placed(A: Ints, S: Ints, W: Ints) -> int:
    for _ in range(50):
        j = draw_below(W, A[N_JOBS])
        if is_placed(S, j) and job(A, j, J_LOCKED) == 0:
            return j
    return NONE


@compiled_apart
def wanted(A: Ints, B: Floats, S: Ints, W: Ints) -> int:
    """Return a job left out that some plan might hold, dear ones rather; NONE if there is none."""
    best, best_price, n = NONE, -1.0, 0
    for j in range(A[N_JOBS]):
        if not is_placed(S, j) and job(A, j, J_HOPELESS) == 0 and job(A, j, J_LOCKED) == 0:
            n += 1
            value = price(B, j, P_LEFT_OUT) * (0.2 + draw(W))
            if value > best_price:
                best, best_price = j, value
    return best


@compiled_apart
def _choose(A: Ints, S: Ints, W: Ints, kind: int, seed: int) -> None:
    n_aim = 1 + draw_below(W, 2 * _MOST)
    margin = draw_below(W, _NEAR_S)
    if kind == STRINGS:
        _mark_strings(A, S, W, seed, n_aim)
    elif kind == TOGETHER:
        low, high = st(S, seed, S_START) - margin, st(S, seed, S_END) + margin
        _mark(A, W, seed)
        _mark_together(A, S, W, seed, low, high, n_aim)
    elif kind == LINE and A[N_UNITS] > 0:
        _mark_line(A, S, W, draw_below(W, A[N_UNITS]), -NEVER, NEVER, 1.0)
    else:
        for _ in range(n_aim):
            j = _any_placed(A, S, W)
            if j >= 0:
                _mark(A, W, j)


@compiled_apart
def _choose_for(A: Ints, S: Ints, W: Ints, seed: int) -> None:
    """Choose jobs to make room for one that is left out."""
    if job(A, seed, J_OPEN) == job(A, seed, J_OPEN_END):
        return
    if draw(W) < 0.6:
        _mark_in_the_way(A, S, W, seed)
    else:
        i = job(A, seed, J_OPEN) + draw_below(W, job(A, seed, J_OPEN_END) - job(A, seed, J_OPEN))
        middle = opens(A, i) + draw_below(W, closes(A, i) - opens(A, i) + 1)
        margin = draw_below(W, _NEAR_S)
        _mark_together(A, S, W, seed, middle - margin, middle + margin, 2 * _MOST)
    for row in range(job(A, seed, J_WAITS), job(A, seed, J_WAITS_END)):
        other = lag(A, row, L_OTHER)
        _mark(A, W, other)
        if draw(W) < 0.4 and job(A, other, J_OPEN) < job(A, other, J_OPEN_END):
            _mark_in_the_way(A, S, W, other)  # it may have to be done earlier


@compiled_apart
def remove(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Take a placed job out, and ask to look at what stood after it and before."""
    ask_followers(A, S, W, j)
    touch_leaders(A, S, W, j)
    take_off(A, S, j)


@compiled_apart
def choose(A: Ints, S: Ints, W: Ints, kind: int, seed: int) -> None:
    """Choose related jobs to take out: the first W_N_NEAR of the list NEAR.

    `seed` is a job left out to make room for, or one of the plan to take out with its like.
    """
    W[W_N_NEAR] = 0
    if is_placed(S, seed):
        _choose(A, S, W, kind, seed)
    else:
        _choose_for(A, S, W, seed)
    i = 0
    while i < W[W_N_NEAR]:
        j = W[at(W, NEAR) + i]
        i += 1
        for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
            if lag(A, row, L_MOST) < NEVER and is_placed(S, lag(A, row, L_OTHER)):
                _mark(A, W, lag(A, row, L_OTHER))
    for i in range(W[W_N_NEAR]):
        W[at(W, MARK) + W[at(W, NEAR) + i]] = 0
