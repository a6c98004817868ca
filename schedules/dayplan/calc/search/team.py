"""Who does a job of several people: at each moment those who come cheapest, seat by seat.

What each would add at the least is kept for as long as the gap stays, so that few are looked at
closely.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.calls import may_have
from schedules.dayplan.calc.search.clock import fit
from schedules.dayplan.calc.search.layout import (
    AT_UNTIL,
    J_BOND,
    J_BOND_END,
    J_DRIVEN,
    J_GEAR,
    J_GEAR_END,
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
    SAME_MACHINE,
    SAME_PEOPLE,
    U_END,
    U_PERSON,
    U_START,
    Floats,
    Ints,
    is_placed,
    job,
    listed,
    mode,
    node_after,
    node_end,
    unit,
    until,
)
from schedules.dayplan.calc.search.least import least_of_job, least_of_seat
from schedules.dayplan.calc.search.lines import add_moments, advance
from schedules.dayplan.calc.search.reach import load_crew
from schedules.dayplan.calc.search.scratch import (
    ASKED,
    AT_CL,
    AT_CP,
    AT_CREW,
    AT_TEAM,
    BY,
    GAPS,
    LAST_TEAM,
    PAST,
    R_BEST_GAP,
    R_BLINK,
    R_NOISE,
    SOON,
    TAU,
    W_BY,
    W_END,
    W_N_ASKED,
    W_START,
    at,
    draw,
)
from schedules.dayplan.calc.search.trial import (
    NO_COST,
    after_seat,
    seat_ready,
    to_seat,
)

_SLOW_PER_S = 1.0 / 60  # what slowing a team down counts in choosing it


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


@compiled
def meets(A: Ints, u: int, low: int, high: int, work: int) -> bool:
    """Whether a unit is on shift for so much work between two instants."""
    return max(low, unit(A, u, U_START)) + work <= min(high, unit(A, u, U_END))


@compiled_apart
def ask_team(A: Ints, S: Ints, W: Ints, j: int, row: int, kind: int, low: int, last: int) -> None:
    """List all who might be on a team, and add their moments."""
    n, work = mode(A, row, M_PEOPLE), mode(A, row, M_WORK)
    W[W_N_ASKED] = 0
    for u in range(A[N_UNITS]):
        is_asked = until(A, kind, u) >= low + work
        for k in range(1, n):
            is_asked |= until(A, listed(A, mode(A, row, M_SEATS) + k), u) >= low + work
        if is_asked and meets(A, u, low, last + work, work) and may_do(A, S, W, j, u, n):
            i = W[W_N_ASKED]
            W[at(W, ASKED) + i], W[at(W, GAPS) + i], W[at(W, PAST) + i] = u, NONE, -NEVER
            W[W_N_ASKED] += 1
            add_moments(A, S, W, u, low, last + 1)


@compiled
def _has_moved(A: Ints, S: Ints, W: Ints, k: int, i: int) -> bool:
    """Whether the gap in a slot is another than at the moment before."""
    return i == 0 or (W[AT_CP + k] >= 0 and node_end(A, S, W[AT_CP + k]) > W[at(W, TAU) + i - 1])


@compiled_apart
def _look_at_gaps(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, m: int, work: int, i: int
) -> float:
    """Note for all asked which gap they have at a moment, and what the job adds there at the least.

    Twice for each: as the driver, and as anybody else. Returns the least of any other gap than
    the moment before.
    """
    theta, found = W[at(W, TAU) + i], NO_COST
    is_driven = m >= 0 and job(A, j, J_DRIVEN) == 1
    is_moved = is_driven and _has_moved(A, S, W, A[N_SEATS], i)
    for a in range(W[W_N_ASKED]):
        u, is_past = W[at(W, ASKED) + a], W[at(W, PAST) + a] <= theta
        if is_past:
            prev = advance(A, S, u, W[at(W, GAPS) + a], theta)
            then = node_after(A, S, u, prev)
            W[at(W, GAPS) + a] = prev
            W[at(W, PAST) + a] = NEVER if then < 0 else node_end(A, S, then)
        for k in range(0 if is_driven else 1, 2):
            if is_past or (k == 0 and is_moved):
                W[AT_TEAM + k], W[AT_CP + k] = u, W[at(W, GAPS) + a]
                least = least_of_seat(A, B, S, W, R, j, k, m, work)
                R[R_NOISE + A[N_UNITS] + 2 * a + k] = least
                W[at(W, SOON) + 2 * a + k], W[at(W, BY) + 2 * a + k] = W[W_START], W[W_BY]
                if max(theta, W[W_START]) <= W[W_BY]:
                    found = min(found, least)
    return found


@compiled_apart
def has_team(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, row: int, m: int, kind: int, i: int
) -> bool:
    """Name a team for a moment in the scratch; False if none, or that of the last moment again.

    Only where somebody's gap is new, and not too dear: others could come together before.
    """
    theta, work = W[at(W, TAU) + i], mode(A, row, M_WORK)
    if i == 0:
        W[at(W, LAST_TEAM)] = NEVER
    paid = least_of_job(A, B, R, j, W[at(W, TAU)], work)
    if m >= 0 and node_after(A, S, W[AT_CL + A[N_SEATS]], W[AT_CP + A[N_SEATS]]) >= 0:
        paid = -NO_COST  # the machine's next job may gain by it
    is_vain = paid + _look_at_gaps(A, B, S, W, R, j, m, work, i) >= R[R_BEST_GAP]
    is_vain = is_vain and job(A, j, J_GEAR) == job(A, j, J_GEAR_END)
    for k in range(A[N_SEATS], A[N_SLOTS]):
        is_vain = is_vain and not _has_moved(A, S, W, k, i)
    if is_vain or not _fill_seats(A, B, S, W, R, j, row, m, kind, theta, paid):
        return False
    return not _is_as_last(A, W)


@compiled
def _is_as_last(A: Ints, W: Ints) -> bool:
    """Whether the scratch names the gaps that it named the last time."""
    is_same, last = True, at(W, LAST_TEAM)
    for k in range(A[N_SLOTS]):
        if W[last + 2 * k] != W[AT_CL + k] or W[last + 2 * k + 1] != W[AT_CP + k]:
            is_same = False
        W[last + 2 * k], W[last + 2 * k + 1] = W[AT_CL + k], W[AT_CP + k]
    return is_same


@compiled_apart
def _fill_seats(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    m: int,
    kind: int,
    theta: int,
    paid: float,
) -> bool:
    """Fill each seat with the cheapest person at a moment, seats with fewest people first.

    False if some seat has nobody with whom the job would cost less than the best so far, of which
    `paid` is known.
    """
    n = mode(A, row, M_PEOPLE)
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
        paid += _fill_seat(A, B, S, W, R, j, row, seat, m, kind_k, theta, paid)
        if W[AT_TEAM + seat] < 0:
            return False
    return True


@compiled
def _n_holding(A: Ints, kind: int) -> int:
    """How many units hold the skills of a kind; counted once, at the end of the table."""
    return A[A[AT_UNTIL] + A[N_KINDS] * A[N_UNITS] + kind]


@compiled
def _is_taken(W: Ints, n: int, u: int) -> bool:
    is_taken = False
    for k in range(n):
        is_taken |= W[AT_TEAM + k] == u
    return is_taken


@compiled_apart
def _fill_seat(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    seat: int,
    m: int,
    kind: int,
    theta: int,
    paid: float,
) -> float:
    """Fill a seat, if anybody can; return what that adds at the least."""
    n, work = mode(A, row, M_PEOPLE), mode(A, row, M_WORK)
    best, best_prev, best_cost, best_least = NONE, NONE, NO_COST, 0.0
    k = 0 if seat == 0 and m >= 0 and job(A, j, J_DRIVEN) == 1 else 1
    for a in range(W[W_N_ASKED]):
        u, least = W[at(W, ASKED) + a], R[R_NOISE + A[N_UNITS] + 2 * a + k]
        soon = max(theta, W[at(W, SOON) + 2 * a + k])
        if least + (soon - theta) * _SLOW_PER_S >= best_cost or paid + least >= R[R_BEST_GAP]:
            continue
        last_end = min(W[at(W, BY) + 2 * a + k] + work, until(A, kind, u), unit(A, u, U_END))
        if soon + work > last_end or _is_taken(W, n, u) or (seat == 0 and not may_have(A, j, u)):
            continue
        W[AT_TEAM + seat], W[AT_CL + seat], W[AT_CP + seat] = u, u, W[at(W, GAPS) + a]
        start = max(theta, seat_ready(A, S, W, j, seat, m, work, theta))
        start = fit(A, W, j, start, NONE, AT_TEAM + seat, 1, m if seat == 0 else NONE, work)
        end = W[W_END]
        if start >= NEVER or end > until(A, kind, u):
            continue
        W[W_START] = start
        cost = after_seat(A, B, S, W, j, seat, m, end) + (end - theta - work) * _SLOW_PER_S
        if cost < NO_COST:
            cost += to_seat(A, B, S, W, R, j, seat, m) + draw(W) * R[R_BLINK]
        if cost < best_cost:
            best, best_prev, best_cost, best_least = u, W[AT_CP + seat], cost, least
    W[AT_TEAM + seat], W[AT_CL + seat], W[AT_CP + seat] = best, best, best_prev
    return best_least
