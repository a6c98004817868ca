"""What a job would cost in a gap: its ways, what it pushes, and what it is itself."""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.clock import after, fit
from schedules.dayplan.calc.search.duty import added_duty, call_at
from schedules.dayplan.calc.search.layout import (
    AT_SHARE,
    AT_WEIGHT,
    D_BEFORE,
    D_LINE,
    J_AWAITED,
    J_AWAITED_END,
    J_BUCKET,
    J_CREW,
    J_DRIVEN,
    J_DUE,
    J_LATEST,
    J_PLACE,
    J_PREV,
    J_PREV_END,
    J_PREV_MACHINE,
    J_PREV_START,
    J_USEFUL,
    L_LEAST,
    L_OTHER,
    L_RELATION,
    M_WORK,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    P_LATE,
    P_STAKE,
    PRICE_WIDTH,
    S_CALL,
    S_END,
    S_LATEST,
    S_MACHINE,
    S_ON_TIME,
    S_START,
    TOLERANCE,
    U_BACK,
    U_CREW,
    U_END,
    U_N_SKILLS,
    U_PAID,
    U_PERSON,
    U_START,
    U_WALK,
    W_BALANCE,
    W_CHANGE,
    W_DUTY,
    W_OFF_CREW,
    W_OVERTIME,
    W_TRAVEL,
    WASH,
    Floats,
    Ints,
    head,
    is_placed,
    job,
    kind_of,
    lag,
    listed,
    mode,
    nd,
    node_after,
    node_end,
    st,
    unit,
    until,
    way,
)
from schedules.dayplan.calc.search.reach import (
    call_s,
    comes_along,
    drive_s,
    driven,
    is_driver,
    is_from_end,
    is_to_start,
    machine_free_at,
    machine_place,
    mend_s,
    needs_wash,
    outlasts_tank,
    released,
    unit_free_at,
    unit_place,
)
from schedules.dayplan.calc.search.scratch import (
    AT_CL,
    AT_CP,
    AT_TEAM,
    R_EARLY,
    R_NOISE,
    W_CALL,
    W_END,
    W_FREE,
    W_START,
)
from schedules.dayplan.calc.search.slack import OUT

NO_COST = 1e300
# A nudge far below any price of a plan. Common practice, no source.
PER_SKILL = 0.05  # of two equal people, the one with fewer other uses


@compiled
def weight(B: Floats, A: Ints, which: int) -> float:
    """Return a weight of the problem, by the second or the piece."""
    return B[A[AT_WEIGHT] + which]


@compiled
def price(B: Floats, j: int, which: int) -> float:
    """Return a price of a job."""
    return B[j * PRICE_WIDTH + which]


@compiled_apart
def seat_ready(A: Ints, S: Ints, W: Ints, j: int, k: int, m: int, work: int, near: int) -> int:
    """When one of the team is there for a job tried in the gaps of the scratch."""
    if k == 0 and m >= 0 and job(A, j, J_DRIVEN) == 1:
        return machine_ready(A, S, W, j, m, 1, work, near)
    u, prev = W[AT_TEAM + k], W[AT_CP + k]
    walk = call_s(A, u, W[W_CALL] if k == 0 else NONE, unit_place(A, u, prev), job(A, j, J_PLACE))
    return after(A, u, _free_at(A, S, W, k, u, prev), walk)


@compiled
def _free_at(A: Ints, S: Ints, W: Ints, k: int, u: int, prev: int) -> int:
    """When one of the team is free for what is tried, the first after a call that delays."""
    free = unit_free_at(A, S, u, prev)
    return max(free, W[W_FREE]) if k == 0 else free


@compiled_apart
def start_of(A: Ints, S: Ints, W: Ints, j: int, row: int, n: int, m: int, held: int) -> int:
    """Return when a job tried in the gaps of the scratch starts, its end in the scratch; -1 if not.

    Its bounds by lags must lie at OUT.
    """
    ready = max(held, W[OUT])
    slots, work = A[N_SLOTS], mode(A, row, M_WORK)
    first = 1 if m >= 0 and job(A, j, J_DRIVEN) == 1 else 0
    for k in range(first, n):
        ready = max(ready, seat_ready(A, S, W, j, k, m, work, ready))
    for k in range(A[N_SEATS] + 1, slots):
        if W[AT_CL + k] >= 0 and W[AT_CP + k] >= 0:
            ready = max(ready, node_end(A, S, W[AT_CP + k]))
    at = ready
    if m >= 0:
        at = max(ready, machine_ready(A, S, W, j, m, first, work, ready))
    at = fit(A, W, j, at, W[OUT + 2], AT_TEAM, n, m, work)
    if m >= 0 and at < W[OUT + 1]:
        then = machine_ready(A, S, W, j, m, first, work, at)
        if then > at:
            at = fit(A, W, j, then, W[OUT + 2], AT_TEAM, n, m, work)
    end = W[W_END]
    if at >= NEVER or at > W[OUT + 1] or end > W[OUT + 3] or _lapses(A, W, row, n, m, end):
        return NONE
    if outlasts_tank(A, j, m, end - at):
        return NONE
    return at


@compiled
def _lapses(A: Ints, W: Ints, row: int, n: int, m: int, end: int) -> bool:
    found = False
    for k in range(n):
        if end > until(A, kind_of(A, row, m, k), W[AT_TEAM + k]):
            found = True
    return found


@compiled_apart
def machine_ready(
    A: Ints, S: Ints, W: Ints, j: int, m: int, is_driven: int, work: int, near: int
) -> int:
    """When a machine is there for a job tried in the gaps of the scratch, driven or brought."""
    prev = W[AT_CP + A[N_SEATS]]
    stand = machine_place(A, m, prev)
    drive = drive_s(A, S, j, m, prev, stand, 0, work)
    if is_driven == 0:
        wash = A[WASH] if needs_wash(A, S, j, m, prev, 0) else 0
        return max(machine_free_at(A, S, prev), released(A, m, near)) + drive + wash
    u, before_u = W[AT_TEAM], W[AT_CP]
    walk = call_s(A, u, W[W_CALL], unit_place(A, u, before_u), stand)
    needed = drive + mend_s(A, S, j, m, prev, 0, comes_along(A, before_u, prev))
    free_at = _free_at(A, S, W, 0, u, before_u)
    return driven(A, u, m, free_at, walk, machine_free_at(A, S, prev), needed, near)


@compiled
def pushed(B: Floats, S: Ints, s: int, arrival: int) -> float:
    """Return what pushing a placed job to an arrival costs, NO_COST if it cannot be."""
    if arrival > st(S, s, S_LATEST):
        return NO_COST
    return max(0, arrival - st(S, s, S_ON_TIME)) * price(B, s, P_LATE)


@compiled_apart
def after_seat(A: Ints, B: Floats, S: Ints, W: Ints, j: int, k: int, m: int, end: int) -> float:
    """Return what a job tried in a seat's gap costs by what follows there: ways and lateness."""
    u, prev, slots, place = W[AT_CL + k], W[AT_CP + k], A[N_SLOTS], job(A, j, J_PLACE)
    s, stood = node_after(A, S, u, prev), unit_place(A, u, prev)
    travel = weight(B, A, W_TRAVEL)
    if s < 0:
        return _way_back(A, B, S, u, prev, place, end)
    follower = s // slots
    call_old = st(S, follower, S_CALL) if s % slots == 0 else NONE
    call = call_at(A, S, W, s)
    if not is_driver(A, S, s):
        to = job(A, follower, J_PLACE)
        new, old = call_s(A, u, call, place, to), call_s(A, u, call_old, stood, to)
        return pushed(B, S, follower, after(A, u, end, new)) + (new - old) * travel
    m2, node_m = st(S, follower, S_MACHINE), follower * slots + A[N_SEATS]
    prev_m = nd(A, S, node_m, D_BEFORE)
    stand = machine_place(A, m2, prev_m)
    is_both = m2 == m and prev_m == W[AT_CP + A[N_SEATS]]
    work = st(S, follower, S_END) - st(S, follower, S_START)
    extra = end - W[W_START] if is_both and job(A, j, J_DRIVEN) == 1 else 0
    stand_new = place if is_both else stand
    drive = drive_s(A, S, follower, m2, prev_m, stand_new, extra, work)
    drive_old = drive_s(A, S, follower, m2, prev_m, stand, 0, work)
    walk, walk_old = call_s(A, u, call, place, stand_new), call_s(A, u, call_old, stood, stand)
    bucket = job(A, j, J_BUCKET) if is_both else 0
    needed = drive + mend_s(A, S, follower, m2, prev_m, bucket, is_both)
    machine_at = end if is_both else machine_free_at(A, S, prev_m)
    arrival = driven(A, u, m2, end, walk, machine_at, needed, st(S, follower, S_START))
    return pushed(B, S, follower, arrival) + (walk + drive - walk_old - drive_old) * travel


@compiled_apart
def _way_back(A: Ints, B: Floats, S: Ints, u: int, prev: int, place: int, end: int) -> float:
    """Return what being the last of a shift costs: the way back and overtime."""
    back, home, home_old = unit(A, u, U_BACK), 0, 0
    if back >= 0:
        home = way(A, unit(A, u, U_WALK), place, back)
        if prev >= 0:
            home_old = way(A, unit(A, u, U_WALK), unit_place(A, u, prev), back)
        if after(A, u, end, home) > unit(A, u, U_END):
            return NO_COST
    cost = (home - home_old) * weight(B, A, W_TRAVEL)
    paid, over = unit(A, u, U_PAID), after(A, u, end, home)
    over_old = after(A, u, node_end(A, S, prev), home_old) if prev >= 0 else unit(A, u, U_START)
    if over > paid:
        cost += (over - max(paid, over_old)) * weight(B, A, W_OVERTIME)
    return cost


@compiled_apart
def after_machine(A: Ints, B: Floats, S: Ints, W: Ints, j: int, n: int, m: int, end: int) -> float:
    """Return what a job tried in a machine's gap costs by the machine's next job."""
    slots, place, prev = A[N_SLOTS], job(A, j, J_PLACE), W[AT_CP + A[N_SEATS]]
    s = node_after(A, S, W[AT_CL + A[N_SEATS]], prev)
    if s < 0:
        return 0.0
    follower = s // slots
    first = follower * slots
    work = st(S, follower, S_END) - st(S, follower, S_START)
    extra = end - W[W_START] if job(A, j, J_DRIVEN) == 1 else 0
    drive = drive_s(A, S, follower, m, prev, place, extra, work)
    near, bucket = st(S, follower, S_START), job(A, j, J_BUCKET)
    if not is_driver(A, S, first):
        wash = A[WASH] if needs_wash(A, S, follower, m, prev, bucket) else 0
        return pushed(B, S, follower, max(end, released(A, m, near)) + drive + wash)
    u, prev_u = nd(A, S, first, D_LINE), nd(A, S, first, D_BEFORE)
    for k in range(n):
        if W[AT_TEAM + k] == u and W[AT_CP + k] == prev_u:
            return 0.0  # the seat has told it
    stand, call = machine_place(A, m, prev), st(S, follower, S_CALL)
    stood = unit_place(A, u, prev_u)
    walk, walk_old = call_s(A, u, call, stood, place), call_s(A, u, call, stood, stand)
    drive_old = drive_s(A, S, follower, m, prev, stand, 0, work)
    needed = drive + mend_s(A, S, follower, m, prev, bucket, False)
    arrival = driven(A, u, m, unit_free_at(A, S, u, prev_u), walk, end, needed, near)
    ways = (walk + drive - walk_old - drive_old) * weight(B, A, W_TRAVEL)
    return pushed(B, S, follower, arrival) + ways


@compiled_apart
def after_lags(A: Ints, B: Floats, S: Ints, j: int, start: int, end: int) -> float:
    """Return what a job tried then costs by the jobs that wait for it."""
    cost = 0.0
    for row in range(job(A, j, J_AWAITED), job(A, j, J_AWAITED_END)):
        other, relation = lag(A, row, L_OTHER), lag(A, row, L_RELATION)
        if is_placed(S, other):
            at = (end if is_from_end(relation) else start) + lag(A, row, L_LEAST)
            if not is_to_start(relation):
                at -= st(S, other, S_END) - st(S, other, S_START)
            cost += pushed(B, S, other, at)
    return cost


@compiled_apart
def of_job(
    A: Ints, B: Floats, W: Ints, j: int, base: int, n: int, m: int, start: int, end: int
) -> float:
    """Return what a job costs itself: lateness, a crew not its own, leaving the last plan."""
    cost = max(0, end - job(A, j, J_DUE)) * price(B, j, P_LATE)
    crew, is_off = job(A, j, J_CREW), False
    for k in range(n):
        if crew >= 0 and unit(A, W[base + k], U_CREW) != crew:
            is_off = True
    if is_off:
        cost += weight(B, A, W_OFF_CREW)
    if is_changed(A, W, j, base, n, m, start):
        cost += weight(B, A, W_CHANGE)
    return cost


@compiled_apart
def is_changed(A: Ints, W: Ints, j: int, base: int, n: int, m: int, start: int) -> bool:
    """Whether a job so done leaves the last plan."""
    first, last = job(A, j, J_PREV), job(A, j, J_PREV_END)
    if last == first:
        return False
    if last - first != n or m != job(A, j, J_PREV_MACHINE):
        return True
    if abs(start - job(A, j, J_PREV_START)) > A[TOLERANCE]:
        return True
    for i in range(first, last):
        is_there = False
        for k in range(n):
            if unit(A, W[base + k], U_PERSON) == listed(A, i):
                is_there = True
        if not is_there:
            return True
    return False


@compiled_apart
def worked_s(A: Ints, S: Ints, u: int) -> int:
    """Return the seconds that the person of a unit works on jobs, over all shifts."""
    total, person = 0, unit(A, u, U_PERSON)
    while u > 0 and unit(A, u - 1, U_PERSON) == person:
        u -= 1
    while u < A[N_UNITS] and unit(A, u, U_PERSON) == person:
        node = head(A, S, u)
        while node >= 0:
            j = node // A[N_SLOTS]
            total += st(S, j, S_END) - st(S, j, S_START)
            node = node_after(A, S, u, node)
        u += 1
    return total


@compiled
def uneven(A: Ints, B: Floats, S: Ints, u: int, work: int) -> float:
    """Return what more work for a unit costs by the balance of work."""
    if weight(B, A, W_BALANCE) == 0:
        return 0.0
    share, have = A[A[AT_SHARE] + u], worked_s(A, S, u)
    return (max(0, have + work - share) - max(0, have - share)) * weight(B, A, W_BALANCE)


@compiled_apart
def to_seat(A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, k: int, m: int) -> float:
    """Return what the way of one of the team to a job costs, with the nudges of the person."""
    u, prev = W[AT_TEAM + k], W[AT_CP + k]
    call = W[W_CALL] if k == 0 else NONE
    stood, place = unit_place(A, u, prev), job(A, j, J_PLACE)
    if k == 0 and m >= 0 and job(A, j, J_DRIVEN) == 1:
        prev_m = W[AT_CP + A[N_SEATS]]
        stand = machine_place(A, m, prev_m)
        travel = call_s(A, u, call, stood, stand)
        travel += drive_s(A, S, j, m, prev_m, stand, 0, W[W_END] - W[W_START])
    else:
        travel = call_s(A, u, call, stood, place)
    cost = travel * weight(B, A, W_TRAVEL) + R[R_NOISE + u] + unit(A, u, U_N_SKILLS) * PER_SKILL
    if weight(B, A, W_DUTY) > 0:
        cost += added_duty(A, B, S, W, R, j, k)
    return cost + uneven(A, B, S, u, W[W_END] - W[W_START])


@compiled_apart
def try_gap(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, row: int, n: int, m: int, held: int
) -> float:
    """Return what a job adds in the gaps that the scratch names, NO_COST if it does not fit there.

    Start and end are left in the scratch.
    """
    start = start_of(A, S, W, j, row, n, m, held)
    if start < 0:
        return NO_COST
    end = W[W_END]
    W[W_START] = start
    cost = after_lags(A, B, S, j, start, end)
    for k in range(A[N_SEATS] + 1, A[N_SLOTS]):
        if W[AT_CL + k] >= 0:
            then = node_after(A, S, W[AT_CL + k], W[AT_CP + k])
            if then >= 0:
                cost += pushed(B, S, then // A[N_SLOTS], end)
    if cost >= NO_COST:
        return NO_COST
    if m >= 0:
        cost += after_machine(A, B, S, W, j, n, m, end)
    for k in range(n):
        if cost < NO_COST:
            cost += after_seat(A, B, S, W, j, k, m, end)
    if cost >= NO_COST:
        return NO_COST
    W[W_END] = end
    for k in range(n):
        cost += to_seat(A, B, S, W, R, j, k, m)
    if start > job(A, j, J_LATEST):
        cost += price(B, j, P_STAKE)
    if start < job(A, j, J_USEFUL):
        cost += price(B, j, P_STAKE)
    return cost + of_job(A, B, W, j, AT_TEAM, n, m, start, end) + start * R[R_EARLY]
