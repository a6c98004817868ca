"""The cheapest gap for a job: over crew sizes, machines, people, and moments to put it in between.

A moment theta says for each line at once where the job goes: after all that is over by then. So no
ring can come about among lines.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.calls import keep_if_best, may_have
from schedules.dayplan.calc.search.clock import fit
from schedules.dayplan.calc.search.layout import (
    AT_UNTIL,
    J_BOND,
    J_BOND_END,
    J_EXCL,
    J_EXCL_END,
    J_GEAR,
    J_GEAR_END,
    J_OPEN,
    J_OPEN_END,
    J_PREV,
    J_PREV_MACHINE,
    J_PREV_START,
    M_MACHINES,
    M_MACHINES_END,
    M_PEOPLE,
    M_SEATS,
    M_WORK,
    N_KINDS,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    OTHER_PEOPLE,
    S_LATEST,
    S_MACHINE,
    SAME_MACHINE,
    SAME_PEOPLE,
    U_END,
    U_PERSON,
    U_START,
    Floats,
    Ints,
    closes,
    is_placed,
    job,
    listed,
    mode,
    node_after,
    node_end,
    opens,
    st,
    unit,
    until,
)
from schedules.dayplan.calc.search.reach import load_crew
from schedules.dayplan.calc.search.scratch import (
    AT_CL,
    AT_CP,
    AT_CREW,
    AT_TEAM,
    R_BLINK,
    TAU,
    W_DUTY_OF,
    W_END,
    W_N_TAU,
    W_START,
    at,
    draw,
)
from schedules.dayplan.calc.search.slack import (
    OUT,
)
from schedules.dayplan.calc.search.trial import NO_COST, after_seat, seat_ready, to_seat

_MOST_MOMENTS = 400
_SLOW_PER_S = 1.0 / 60  # what slowing a team down counts in choosing it


@compiled
def _first_start(A: Ints, W: Ints, j: int) -> int:
    found = opens(A, job(A, j, J_OPEN)) if job(A, j, J_OPEN) < job(A, j, J_OPEN_END) else NEVER
    return max(found, W[OUT])


@compiled
def _last_end(A: Ints, W: Ints, j: int) -> int:
    last = job(A, j, J_OPEN_END)
    return min(closes(A, last - 1), W[OUT + 3]) if last > job(A, j, J_OPEN) else -NEVER


@compiled_apart
def _advance(A: Ints, S: Ints, line: int, prev: int, theta: int) -> int:
    """Return the last node of a line that is over by a moment, looked for from `prev` on."""
    then = node_after(A, S, line, prev)
    while then >= 0 and node_end(A, S, then) <= theta:
        prev = then
        then = node_after(A, S, line, prev)
    return prev


@compiled_apart
def _add_moments(A: Ints, S: Ints, W: Ints, line: int, low: int, high: int) -> None:
    """Add the ends on a line between two instants to the moments to try, in order, each once."""
    node, tau = node_after(A, S, line, NONE), at(W, TAU)
    while node >= 0:
        end = node_end(A, S, node)
        if low < end < high and W[W_N_TAU] < _MOST_MOMENTS:
            i = W[W_N_TAU]
            while i > 0 and W[tau + i - 1] > end:
                i -= 1
            if i == 0 or W[tau + i - 1] != end:
                for k in range(W[W_N_TAU], i, -1):
                    W[tau + k] = W[tau + k - 1]
                W[tau + i] = end
                W[W_N_TAU] += 1
        node = node_after(A, S, line, node)


@compiled_apart
def _lay_lines(A: Ints, W: Ints, j: int, m: int) -> None:
    """Name the lines that a job holds beside its people."""
    for k in range(A[N_SLOTS]):
        W[AT_CL + k] = NONE
        W[AT_CP + k] = NONE
    slot = A[N_SEATS]
    if m >= 0:
        W[AT_CL + slot] = A[N_UNITS] + m
    for i in range(job(A, j, J_EXCL), job(A, j, J_EXCL_END)):
        slot += 1
        W[AT_CL + slot] = listed(A, i)


@compiled_apart
def _fixed_moments(A: Ints, S: Ints, W: Ints, j: int, low: int, high: int) -> None:
    """Begin the moments to try with those of the lines that a job holds beside its people."""
    W[at(W, TAU)] = low
    W[W_N_TAU] = 1
    for k in range(A[N_SEATS], A[N_SLOTS]):
        if W[AT_CL + k] >= 0:
            _add_moments(A, S, W, W[AT_CL + k], low, high)
    for i in range(job(A, j, J_GEAR), job(A, j, J_GEAR_END), 3):
        for line in range(listed(A, i), listed(A, i) + listed(A, i + 1)):
            _add_moments(A, S, W, line, low, high)


@compiled_apart
def set_fixed(A: Ints, S: Ints, W: Ints, j: int, theta: int) -> None:
    """Say where a job goes on the lines it holds beside its people, gear chosen among copies."""
    slot = A[N_SEATS] + job(A, j, J_EXCL_END) - job(A, j, J_EXCL)
    for k in range(A[N_SEATS], slot + 1):
        if W[AT_CL + k] >= 0:
            W[AT_CP + k] = _advance(A, S, W[AT_CL + k], W[AT_CP + k], theta)
    for i in range(job(A, j, J_GEAR), job(A, j, J_GEAR_END), 3):
        first = slot + 1
        for _ in range(listed(A, i + 2)):
            slot += 1
            _choose_copy(A, S, W, i, first, slot, theta)


@compiled
def _choose_copy(A: Ints, S: Ints, W: Ints, i: int, first: int, slot: int, theta: int) -> None:
    best, best_room, best_prev, best_end = NONE, -NEVER, NONE, -NEVER
    for line in range(listed(A, i), listed(A, i) + listed(A, i + 1)):
        is_taken = False
        for k in range(first, slot):
            if W[AT_CL + k] == line:
                is_taken = True
        if is_taken:
            continue
        prev = _advance(A, S, line, NONE, theta)
        then = node_after(A, S, line, prev)
        room = NEVER if then < 0 else st(S, then // A[N_SLOTS], S_LATEST)
        end = -NEVER if prev < 0 else node_end(A, S, prev)
        if room > best_room or (room == best_room and end > best_end):
            best, best_room, best_prev, best_end = line, room, prev, end
    W[AT_CL + slot], W[AT_CP + slot] = best, best_prev


@compiled_apart
def may_do(A: Ints, S: Ints, W: Ints, j: int, u: int, n: int) -> bool:
    """Whether a job's bonds with others let a unit be on its team."""
    for i in range(job(A, j, J_BOND), job(A, j, J_BOND_END), 2):
        kind, other = listed(A, i), listed(A, i + 1)
        if kind == SAME_MACHINE or not is_placed(S, other):
            continue
        n_other = load_crew(A, S, W, other)
        is_in = False
        for k in range(n_other):
            if unit(A, W[AT_CREW + k], U_PERSON) == unit(A, u, U_PERSON):
                is_in = True
        if kind == OTHER_PEOPLE and is_in:
            return False
        if kind == SAME_PEOPLE and (not is_in or n != n_other):
            return False
    return True


@compiled_apart
def may_run(A: Ints, S: Ints, j: int, m: int) -> bool:
    """Whether a job's bonds with others let it have a machine."""
    for i in range(job(A, j, J_BOND), job(A, j, J_BOND_END), 2):
        other = listed(A, i + 1)
        if listed(A, i) == SAME_MACHINE and is_placed(S, other) and st(S, other, S_MACHINE) != m:
            return False
    return True


@compiled
def _meets(A: Ints, u: int, low: int, high: int, work: int) -> bool:
    return max(low, unit(A, u, U_START)) + work <= min(high, unit(A, u, U_END))


@compiled_apart
def _team_moments(A: Ints, S: Ints, W: Ints, row: int, kind: int, low: int, last: int) -> None:
    """Add the moments of all who might be on a team."""
    n, work = mode(A, row, M_PEOPLE), mode(A, row, M_WORK)
    for u in range(A[N_UNITS]):
        is_asked = until(A, kind, u) >= low + work
        for k in range(1, n):
            is_asked |= until(A, listed(A, mode(A, row, M_SEATS) + k), u) >= low + work
        if is_asked and _meets(A, u, low, last + work, work):
            _add_moments(A, S, W, u, low, last + 1)


@compiled
def _has_room(A: Ints, S: Ints, u: int, prev: int, first_end: int, work: int) -> bool:
    """Whether what follows on a unit's line can be pushed far enough for so much work."""
    then = node_after(A, S, u, prev)
    if then < 0:
        return True
    end = first_end if prev < 0 else max(first_end, node_end(A, S, prev) + work)
    return end <= st(S, then // A[N_SLOTS], S_LATEST)


@compiled_apart
def try_people(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, row: int, m: int, kind: int, held: int
) -> None:
    """Try all who may do a job in a mode with a machine, at every moment; the best is kept.

    One person: each in turn. Several: at each moment those who come cheapest, seat by seat.
    """
    W[W_DUTY_OF] = NONE
    n, work = mode(A, row, M_PEOPLE), mode(A, row, M_WORK)
    low, last = max(held, _first_start(A, W, j)), _last_end(A, W, j) - work
    for u in range(A[N_UNITS] if n == 1 else 1):
        if last < low:
            return
        if n == 1:
            if until(A, kind, u) < low + work or not _meets(A, u, low, last + work, work):
                continue
            if not may_have(A, j, u) or not may_do(A, S, W, j, u, 1):
                continue
        _lay_lines(A, W, j, m)
        _fixed_moments(A, S, W, j, low, last + 1)
        if n == 1:
            W[AT_TEAM], W[AT_CL] = u, u
            _add_moments(A, S, W, u, low, last + 1)
        elif n > 1:
            _team_moments(A, S, W, row, kind, low, last)
        for i in range(W[W_N_TAU]):
            theta = W[at(W, TAU) + i]
            if n == 1:
                W[AT_CP] = _advance(A, S, u, W[AT_CP], theta)
                if not _has_room(A, S, u, W[AT_CP], low + work, work):
                    continue
            set_fixed(A, S, W, j, theta)
            is_filled = True
            if n > 1:
                is_filled = _fill_seats(A, B, S, W, R, j, row, n, m, kind, theta)
            if is_filled:
                keep_if_best(A, B, S, W, R, j, row, n, m, held)


@compiled_apart
def _fill_seats(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    n: int,
    m: int,
    kind: int,
    theta: int,
) -> bool:
    """Fill each seat with the cheapest person at a moment, seats with fewest people first."""
    work = mode(A, row, M_WORK)
    for k in range(n):
        W[AT_TEAM + k] = NONE
    for _ in range(n):
        seat, fewest = NONE, NEVER
        for k in range(n):
            if W[AT_TEAM + k] < 0:
                kind_k = kind if k == 0 else listed(A, mode(A, row, M_SEATS) + k)
                if _n_holding(A, kind_k) < fewest:
                    seat, fewest = k, _n_holding(A, kind_k)
        kind_k = kind if seat == 0 else listed(A, mode(A, row, M_SEATS) + seat)
        if not _fill_seat(A, B, S, W, R, j, seat, n, m, kind_k, theta, work):
            return False
    return True


@compiled
def _n_holding(A: Ints, kind: int) -> int:
    """How many units hold the skills of a kind; counted once, at the end of the table."""
    return A[A[AT_UNTIL] + A[N_KINDS] * A[N_UNITS] + kind]


@compiled_apart
def _fill_seat(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    seat: int,
    n: int,
    m: int,
    kind: int,
    theta: int,
    work: int,
) -> bool:
    best, best_prev, best_cost = NONE, NONE, NO_COST
    for u in range(A[N_UNITS]):
        if until(A, kind, u) < theta + work or not _meets(A, u, theta, NEVER, work):
            continue
        is_taken = False
        for k in range(n):
            if W[AT_TEAM + k] == u:
                is_taken = True
        if is_taken or not may_do(A, S, W, j, u, n) or (seat == 0 and not may_have(A, j, u)):
            continue
        W[AT_TEAM + seat], W[AT_CL + seat] = u, u
        W[AT_CP + seat] = _advance(A, S, u, NONE, theta)
        start = max(theta, seat_ready(A, S, W, j, seat, m, work, theta))
        start = fit(A, W, j, start, NONE, AT_TEAM + seat, 1, m if seat == 0 else NONE, work)
        end = W[W_END]
        if start >= NEVER or end > until(A, kind, u):
            continue
        W[W_START], W[W_END] = start, end
        cost = after_seat(A, B, S, W, j, seat, m, end) + (end - theta - work) * _SLOW_PER_S
        if cost < NO_COST:
            W[W_START], W[W_END] = start, end
            cost += to_seat(A, B, S, W, R, j, seat, m) + draw(W) * R[R_BLINK]
        if cost < best_cost:
            best, best_prev, best_cost = u, W[AT_CP + seat], cost
    W[AT_TEAM + seat], W[AT_CL + seat], W[AT_CP + seat] = best, best, best_prev
    return best >= 0


@compiled_apart
def lay_as_before(A: Ints, S: Ints, W: Ints, j: int, row: int) -> bool:
    """Name in the scratch who and what the last plan had; False if they cannot have it."""
    W[W_DUTY_OF] = NONE
    n, start = mode(A, row, M_PEOPLE), job(A, j, J_PREV_START)
    m, first = job(A, j, J_PREV_MACHINE), job(A, j, J_PREV)
    _lay_lines(A, W, j, m)
    for k in range(n):
        found = NONE
        for u in range(A[N_UNITS]):
            is_on = unit(A, u, U_START) <= start < unit(A, u, U_END)
            if unit(A, u, U_PERSON) == listed(A, first + k) and is_on:
                found = u
        kind = _kind_of(A, row, m, k)
        if found < 0 or kind < 0 or until(A, kind, found) < start:
            return False
        if not may_do(A, S, W, j, found, n):
            return False
        W[AT_TEAM + k], W[AT_CL + k] = found, found
        W[AT_CP + k] = _advance(A, S, found, NONE, start)
    set_fixed(A, S, W, j, start)
    return True


@compiled_apart
def _kind_of(A: Ints, row: int, m: int, k: int) -> int:
    """Return the kind of skills asked of a seat with a machine; NONE if it is not one of them."""
    for i in range(mode(A, row, M_MACHINES), mode(A, row, M_MACHINES_END), 2):
        if listed(A, i) == m:
            return listed(A, i + 1) if k == 0 else listed(A, mode(A, row, M_SEATS) + k)
    return NONE
