"""Calls at stores: each loads what the later jobs of a shift need, as far as there is room.

A call belongs to the job before which it is made (S_CALL). One is put in with the job that lacks
something, before it or before any job that stands earlier; one that serves nobody is dropped.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.clock import after
from schedules.dayplan.calc.search.duty import lead_s, remember_duty
from schedules.dayplan.calc.search.layout import (
    AT_HAND,
    AT_ROOM,
    AT_STOCK,
    AT_TOOL,
    D_AFTER,
    D_BEFORE,
    J_ITEMS,
    J_ITEMS_END,
    J_LOCKED,
    J_PLACE,
    N_ITEMS,
    N_PLACES,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    S_CALL,
    S_END,
    S_LATEST,
    S_START,
    W_DUTY,
    W_TRAVEL,
    Floats,
    Ints,
    job,
    listed,
    nd,
    node_after,
    set_st,
    st,
)
from schedules.dayplan.calc.search.lines import put_on, take_off
from schedules.dayplan.calc.search.reach import (
    call_s,
    unit_free_at,
    unit_place,
)
from schedules.dayplan.calc.search.ruin import remove
from schedules.dayplan.calc.search.scratch import (
    AT_BEST_CL,
    AT_BEST_CP,
    AT_CL,
    AT_CP,
    AT_TEAM,
    HAND,
    NEAR,
    QUEUE,
    QUEUED,
    R_BEST_GAP,
    R_BLINK,
    TRIED_START,
    W_BEST_CALL,
    W_BEST_CALLER,
    W_BEST_DROPPED,
    W_BEST_END,
    W_BEST_HELD,
    W_BEST_MACHINE,
    W_BEST_MODE,
    W_BEST_START,
    W_BEST_STORE,
    W_CALL,
    W_CALLER,
    W_DROPPED,
    W_END,
    W_FREE,
    W_N_LOG,
    W_N_NEAR,
    W_N_TOUCHED,
    W_OLD_CALL,
    W_START,
    W_STORE,
    at,
    draw,
)
from schedules.dayplan.calc.search.slack import (
    ask,
    ask_followers,
    clear_queue,
    log_times,
    loosen,
    propagate,
    touch_leaders,
    undo_times,
)
from schedules.dayplan.calc.search.trial import (
    NO_COST,
    pushed,
    try_gap,
    weight,
)


@compiled
def _stocks(A: Ints, store: int, item: int) -> bool:
    return A[A[AT_STOCK] + store * A[N_ITEMS] + item] == 1


@compiled
def _load(A: Ints, W: Ints, u: int, store: int) -> None:
    for i in range(A[N_ITEMS]):
        if _stocks(A, store, i):
            room = A[A[AT_ROOM] + u * A[N_ITEMS] + i]
            W[at(W, HAND) + i] = max(W[at(W, HAND) + i], room)


@compiled
def _use(A: Ints, W: Ints, j: int) -> bool:
    """Take what a job needs from what is at hand; False if something is missing."""
    is_there = True
    for i in range(job(A, j, J_ITEMS), job(A, j, J_ITEMS_END), 2):
        item, n = listed(A, i), listed(A, i + 1)
        if W[at(W, HAND) + item] < n:
            is_there = False
        if A[A[AT_TOOL] + item] == 0:
            W[at(W, HAND) + item] = max(0, W[at(W, HAND) + item] - n)
    return is_there


@compiled
def may_have(A: Ints, j: int, u: int) -> bool:
    """Whether a unit could have all that a job needs, carried or from stores."""
    return bool(job(A, j, J_ITEMS) == job(A, j, J_ITEMS_END) or _may_have(A, j, u))


@compiled_apart
def _may_have(A: Ints, j: int, u: int) -> bool:
    for i in range(job(A, j, J_ITEMS), job(A, j, J_ITEMS_END), 2):
        item, n = listed(A, i), listed(A, i + 1)
        is_stocked = False
        for place in range(A[N_PLACES]):
            is_stocked |= _stocks(A, place, item)
        most = A[A[AT_HAND] + u * A[N_ITEMS] + item]
        if is_stocked:
            most = max(most, A[A[AT_ROOM] + u * A[N_ITEMS] + item])
        if most < n:
            return False
    return True


@compiled_apart
def n_short(
    A: Ints, S: Ints, W: Ints, u: int, j: int, prev: int, caller: int, store: int, dropped: int
) -> int:
    """Return how many jobs of a shift lack something, NEVER if the one tried is among them.

    `j` is tried after the node `prev`, if not NONE; `caller` calls at `store`, `dropped` does not.
    """
    for i in range(A[N_ITEMS]):
        W[at(W, HAND) + i] = A[A[AT_HAND] + u * A[N_ITEMS] + i]
    n, node = 0, NONE
    while True:
        if j >= 0 and node == prev:
            if caller == j:
                _load(A, W, u, store)
            if not _use(A, W, j):
                return NEVER
        node = node_after(A, S, u, node)
        if node < 0:
            return n
        if node % A[N_SLOTS] == 0:
            other = node // A[N_SLOTS]
            call = st(S, other, S_CALL)
            if other == caller:
                call = store
            if call >= 0 and other != dropped:
                _load(A, W, u, call)
            if not _use(A, W, other):
                n += 1


@compiled
def _next_call(A: Ints, S: Ints, u: int, node: int) -> int:
    """Return the next job of a unit after a node that has a call before it, or NONE."""
    node = node_after(A, S, u, node)
    while node >= 0:
        if node % A[N_SLOTS] == 0 and st(S, node // A[N_SLOTS], S_CALL) >= 0:
            return node // A[N_SLOTS]
        node = node_after(A, S, u, node)
    return NONE


@compiled_apart
def _detour_s(A: Ints, S: Ints, W: Ints, u: int, j: int, call: int) -> int:
    """Return what a call before a placed job adds to the way there."""
    node = j * A[N_SLOTS]
    place, to = unit_place(A, u, nd(A, S, node, D_BEFORE)), job(A, j, J_PLACE)
    return call_s(A, u, call, place, to) - call_s(A, u, NONE, place, to)


@compiled_apart
def _delay(A: Ints, B: Floats, S: Ints, W: Ints, u: int, prev: int) -> float:
    """Return what the tried call costs by the jobs from its own to a node, NO_COST if it cannot be.

    When the unit is then free after the node is left in the scratch, and the jobs' starts.
    """
    slots, first = A[N_SLOTS], W[W_CALLER]
    node = first * slots
    before = nd(A, S, node, D_BEFORE)
    place, end = unit_place(A, u, before), unit_free_at(A, S, u, before)
    cost = 0.0
    while True:
        j = node // slots
        arrival = after(A, u, end, lead_s(A, S, W, u, node, place))
        if arrival > st(S, j, S_LATEST) and arrival > st(S, j, S_START):
            return NO_COST
        if j == first:
            cost = pushed(B, S, j, max(arrival, st(S, j, S_START)))
        start = max(arrival, st(S, j, S_START))
        W[at(W, TRIED_START) + j] = start
        end, place = start + st(S, j, S_END) - st(S, j, S_START), job(A, j, J_PLACE)
        if node == prev:
            W[W_FREE] = end
            return cost
        node = nd(A, S, node, D_AFTER)


@compiled
def _forget(W: Ints) -> None:
    W[W_CALL], W[W_CALLER], W[W_STORE], W[W_DROPPED], W[W_FREE] = NONE, NONE, NONE, NONE, -NEVER


@compiled_apart
def keep_if_best(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, row: int, n: int, m: int, held: int
) -> None:
    """Try what the scratch names, with the calls that it takes; remember the cheapest so far."""
    _forget(W)
    lacking, is_plain = 0, n == 0 or job(A, j, J_ITEMS) == job(A, j, J_ITEMS_END)
    if not is_plain:
        u, prev = W[AT_TEAM], W[AT_CP]
        lacking = n_short(A, S, W, u, NONE, NONE, NONE, NONE, NONE)
        is_plain = n_short(A, S, W, u, j, prev, NONE, NONE, NONE) <= lacking
    if is_plain:
        _keep(A, B, S, W, R, j, row, n, m, held, 0.0)
        return
    for store in range(A[N_PLACES]):
        has_any = False
        for i in range(A[N_ITEMS]):
            has_any |= _stocks(A, store, i)
        if has_any:
            _try_store(A, B, S, W, R, j, row, n, m, held, store, lacking)
    _forget(W)


@compiled_apart
def _try_store(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    n: int,
    m: int,
    held: int,
    store: int,
    lacking: int,
) -> None:
    """Try a call at a store before a job, and before each that stands earlier."""
    u, prev, slots = W[AT_TEAM], W[AT_CP], A[N_SLOTS]
    node = prev
    caller, travel = j, weight(B, A, W_TRAVEL)
    later = _next_call(A, S, u, prev)
    while True:
        _forget(W)
        if n_short(A, S, W, u, j, prev, caller, store, NONE) <= lacking:
            cost = 0.0
            W[W_CALLER], W[W_STORE] = caller, store
            if later >= 0 and n_short(A, S, W, u, j, prev, caller, store, later) <= lacking:
                W[W_DROPPED] = later
                if nd(A, S, later * slots, D_BEFORE) != prev:
                    cost -= _detour_s(A, S, W, u, later, st(S, later, S_CALL)) * travel
            if caller == j:
                W[W_CALL] = store
            else:
                if weight(B, A, W_DUTY) > 0:
                    remember_duty(A, S, W, R, u)
                cost += _delay(A, B, S, W, u, prev)
                cost += _detour_s(A, S, W, u, caller, store) * travel
            if cost < NO_COST:
                _keep(A, B, S, W, R, j, row, n, m, held, cost)
        caller = NONE
        while node >= 0 and caller < 0:
            other = node // slots
            if node % slots == 0 and job(A, other, J_LOCKED) == 0:
                caller = other
            node = nd(A, S, node, D_BEFORE)
        if caller < 0 or st(S, caller, S_CALL) >= 0:
            return


@compiled_apart
def _keep(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    n: int,
    m: int,
    held: int,
    beside: float,
) -> None:
    """Try what the scratch names, and remember it if it is the cheapest so far."""
    cost = try_gap(A, B, S, W, R, j, row, n, m, held) + beside
    if cost >= R[R_BEST_GAP] or (R[R_BLINK] > 0 and draw(W) < R[R_BLINK]):
        return
    R[R_BEST_GAP] = cost
    W[W_BEST_MODE], W[W_BEST_MACHINE], W[W_BEST_HELD] = row, m, held
    W[W_BEST_CALL], W[W_BEST_CALLER] = W[W_CALL], W[W_CALLER]
    W[W_BEST_STORE], W[W_BEST_DROPPED], W[W_OLD_CALL] = W[W_STORE], W[W_DROPPED], NONE
    W[W_BEST_START], W[W_BEST_END] = W[W_START], W[W_END]
    for k in range(A[N_SLOTS]):
        W[AT_BEST_CL + k] = W[AT_CL + k]
        W[AT_BEST_CP + k] = W[AT_CP + k]


# In the plan ------------------------------------------------------------------------------------


@compiled_apart
def set_call(A: Ints, S: Ints, W: Ints, j: int, call: int) -> int:
    """Set the call before a placed job, ask to look at its times; return the one before."""
    old = st(S, j, S_CALL)
    set_st(S, j, S_CALL, call)
    ask(A, W, j, QUEUE, QUEUED)
    touch_leaders(A, S, W, j)
    return old


@compiled_apart
def change_calls(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Make the calls of others that come with the best gap of a job; what they were is left there.

    Called a second time, it takes them back.
    """
    if W[W_BEST_CALLER] >= 0 and W[W_BEST_CALLER] != j:
        W[W_BEST_STORE] = set_call(A, S, W, W[W_BEST_CALLER], W[W_BEST_STORE])
    if W[W_BEST_DROPPED] >= 0:
        W[W_OLD_CALL] = set_call(A, S, W, W[W_BEST_DROPPED], W[W_OLD_CALL])


@compiled_apart
def take_out(A: Ints, S: Ints, W: Ints, j: int) -> None:
    """Take a placed job out; the call before it is made before the next job instead."""
    slots, call = A[N_SLOTS], st(S, j, S_CALL)
    node = nd(A, S, j * slots, D_AFTER) if call >= 0 else NONE
    while node >= 0:
        other = node // slots
        if node % slots == 0 and job(A, other, J_LOCKED) == 0:
            if st(S, other, S_CALL) < 0:
                set_call(A, S, W, other, call)
            break
        node = nd(A, S, node, D_AFTER)
    remove(A, S, W, j)


@compiled_apart
def take_out_chosen(A: Ints, S: Ints, W: Ints) -> None:
    """Take out all jobs that `choose` has listed."""
    for i in range(W[W_N_NEAR]):
        take_out(A, S, W, W[at(W, NEAR) + i])


@compiled_apart
def put_in(A: Ints, S: Ints, W: Ints, j: int) -> bool:
    """Put a job into the best gap found and push what follows; undone if that fails."""
    for k in range(A[N_SLOTS]):
        W[AT_CL + k], W[AT_CP + k] = W[AT_BEST_CL + k], W[AT_BEST_CP + k]
    m, call = W[W_BEST_MACHINE], W[W_BEST_CALL]
    start, end, held = W[W_BEST_START], W[W_BEST_END], W[W_BEST_HELD]
    put_on(A, S, W, j, W[W_BEST_MODE], m, call, start, end, held)
    W[W_N_LOG] = 0
    log_times(S, W, j)
    change_calls(A, S, W, j)
    ask_followers(A, S, W, j)
    is_in = propagate(A, S, W)
    if is_in:
        loosen(A, S, W, j)
    else:
        clear_queue(A, W)
        undo_times(S, W)
        take_off(A, S, j)
        change_calls(A, S, W, j)
        clear_queue(A, W)
        W[W_N_TOUCHED] = 0
    return is_in


@compiled_apart
def tidy_calls(A: Ints, S: Ints, W: Ints) -> int:
    """Drop calls that serve nobody; return a job that lacks something all the same, or NONE."""
    if A[N_ITEMS] == 0:
        return NONE
    for u in range(A[N_UNITS]):
        j = _next_call(A, S, u, NONE)
        lacking = n_short(A, S, W, u, NONE, NONE, NONE, NONE, NONE)
        while j >= 0:
            node = j * A[N_SLOTS]
            if n_short(A, S, W, u, NONE, NONE, NONE, NONE, j) <= lacking:
                set_call(A, S, W, j, NONE)
            j = _next_call(A, S, u, node)
        if lacking > 0:
            j = _first_short(A, S, W, u)
            if j >= 0:
                return j
    return NONE


@compiled_apart
def _first_short(A: Ints, S: Ints, W: Ints, u: int) -> int:
    """Return the first job of a unit that lacks something and is not locked, or NONE."""
    for i in range(A[N_ITEMS]):
        W[at(W, HAND) + i] = A[A[AT_HAND] + u * A[N_ITEMS] + i]
    node = node_after(A, S, u, NONE)
    while node >= 0:
        j = node // A[N_SLOTS]
        if node % A[N_SLOTS] == 0:
            if st(S, j, S_CALL) >= 0:
                _load(A, W, u, st(S, j, S_CALL))
            if not _use(A, W, j) and job(A, j, J_LOCKED) == 0:
                return j
        node = node_after(A, S, u, node)
    return NONE
