"""The cheapest gap for a job: over crew sizes, machines, people, and moments to put it in between.

A moment theta says for each line at once where the job goes: after all that is over by then. So no
ring can come about among lines.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.calls import keep_if_best, may_have
from schedules.dayplan.calc.search.layout import (
    J_BOND,
    J_BOND_END,
    J_EXCL,
    J_EXCL_END,
    J_GEAR,
    J_GEAR_END,
    J_MODE,
    J_MODE_END,
    J_OPEN,
    J_OPEN_END,
    J_PREV,
    J_PREV_END,
    J_PREV_MACHINE,
    J_PREV_START,
    M_MACHINES,
    M_MACHINES_END,
    M_PEOPLE,
    M_WORK,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NEVER,
    NONE,
    S_LATEST,
    S_MACHINE,
    SAME_MACHINE,
    U_END,
    U_PERSON,
    U_START,
    Floats,
    Ints,
    closes,
    is_placed,
    job,
    kind_of,
    listed,
    mode,
    node_after,
    node_end,
    opens,
    st,
    unit,
    until,
)
from schedules.dayplan.calc.search.least import is_too_dear
from schedules.dayplan.calc.search.lines import add_moments, advance
from schedules.dayplan.calc.search.reach import bounds
from schedules.dayplan.calc.search.scratch import (
    AT_BEST_CL,
    AT_CL,
    AT_CP,
    AT_TEAM,
    LIKELY,
    R_BEST_GAP,
    TAU,
    W_BEST_MACHINE,
    W_BEST_MODE,
    W_DUTY_OF,
    W_N_TAU,
    at,
)
from schedules.dayplan.calc.search.slack import OUT
from schedules.dayplan.calc.search.team import (
    ask_team,
    has_team,
    may_do,
    meets,
)
from schedules.dayplan.calc.search.trial import NO_COST


@compiled
def _first_start(A: Ints, W: Ints, j: int) -> int:
    found = opens(A, job(A, j, J_OPEN)) if job(A, j, J_OPEN) < job(A, j, J_OPEN_END) else NEVER
    return max(found, W[OUT])


@compiled
def _last_end(A: Ints, W: Ints, j: int) -> int:
    last = job(A, j, J_OPEN_END)
    return min(closes(A, last - 1), W[OUT + 3]) if last > job(A, j, J_OPEN) else -NEVER


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
            add_moments(A, S, W, W[AT_CL + k], low, high)
    for i in range(job(A, j, J_GEAR), job(A, j, J_GEAR_END), 3):
        for line in range(listed(A, i), listed(A, i) + listed(A, i + 1)):
            add_moments(A, S, W, line, low, high)


@compiled_apart
def set_fixed(A: Ints, S: Ints, W: Ints, j: int, theta: int) -> None:
    """Say where a job goes on the lines it holds beside its people, gear chosen among copies."""
    slot = A[N_SEATS] + job(A, j, J_EXCL_END) - job(A, j, J_EXCL)
    for k in range(A[N_SEATS], slot + 1):
        if W[AT_CL + k] >= 0:
            W[AT_CP + k] = advance(A, S, W[AT_CL + k], W[AT_CP + k], theta)
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
        prev = advance(A, S, line, NONE, theta)
        then = node_after(A, S, line, prev)
        room = NEVER if then < 0 else st(S, then // A[N_SLOTS], S_LATEST)
        end = -NEVER if prev < 0 else node_end(A, S, prev)
        if room > best_room or (room == best_room and end > best_end):
            best, best_room, best_prev, best_end = line, room, prev, end
    W[AT_CL + slot], W[AT_CP + slot] = best, best_prev


@compiled_apart
def _may_run(A: Ints, S: Ints, j: int, m: int) -> bool:
    """Whether a job's bonds with others let it have a machine."""
    for i in range(job(A, j, J_BOND), job(A, j, J_BOND_END), 2):
        other = listed(A, i + 1)
        if listed(A, i) == SAME_MACHINE and is_placed(S, other) and st(S, other, S_MACHINE) != m:
            return False
    return True


@compiled_apart
def find_gap(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, held: int, is_as_before: bool
) -> bool:
    """Find the cheapest gap for a job from an instant on; it lies in the scratch then.

    Where and when the last plan had it is tried first, or nothing else.
    """
    R[R_BEST_GAP] = NO_COST
    if not bounds(A, S, W, j, OUT):
        return False
    m, start = job(A, j, J_PREV_MACHINE), job(A, j, J_PREV_START)
    for row in range(job(A, j, J_MODE), job(A, j, J_MODE_END)):
        if start < NEVER and _lay_as_before(A, S, W, j, row):
            keep_if_best(A, B, S, W, R, j, row, mode(A, row, M_PEOPLE), m, start)
    for row in range(job(A, j, J_MODE), job(A, j, J_MODE_END)):
        first, n = mode(A, row, M_MACHINES), _n_machines(A, row)
        for k in range(n):
            i = first + 2 * ((W[at(W, LIKELY) + 2 * j] + k) % n)
            if not is_as_before and (listed(A, i) < 0 or _may_run(A, S, j, listed(A, i))):
                _try_people(A, B, S, W, R, j, row, listed(A, i), listed(A, i + 1), held)
    if R[R_BEST_GAP] >= NO_COST:
        return False
    _remember_likely(A, W, j)
    return True


@compiled
def _n_machines(A: Ints, row: int) -> int:
    return (mode(A, row, M_MACHINES_END) - mode(A, row, M_MACHINES)) // 2


@compiled
def _remember_likely(A: Ints, W: Ints, j: int) -> None:
    """Begin with the machine and the person of the best gap the next time: few others come near."""
    row, likely = W[W_BEST_MODE], at(W, LIKELY) + 2 * j
    for k in range(_n_machines(A, row)):
        if listed(A, mode(A, row, M_MACHINES) + 2 * k) == W[W_BEST_MACHINE]:
            W[likely] = k
    W[likely + 1] = max(0, W[AT_BEST_CL])


@compiled_apart
def _try_people(
    A: Ints, B: Floats, S: Ints, W: Ints, R: Floats, j: int, row: int, m: int, kind: int, held: int
) -> None:
    """Try all who may do a job in a mode with a machine, at every moment; the best is kept.

    One person: each in turn. Several: at each moment those who come cheapest, seat by seat.
    """
    W[W_DUTY_OF] = NONE
    n, work = mode(A, row, M_PEOPLE), mode(A, row, M_WORK)
    low, last = max(held, _first_start(A, W, j)), _last_end(A, W, j) - work
    if last < low:
        return
    for i in range(A[N_UNITS] if n == 1 else 1):
        u = (W[at(W, LIKELY) + 2 * j + 1] + i) % A[N_UNITS] if n == 1 else NONE
        if n == 1:
            if until(A, kind, u) < low + work or not meets(A, u, low, last + work, work):
                continue
            if not may_have(A, j, u) or not may_do(A, S, W, j, u, 1):
                continue
        _lay_lines(A, W, j, m)
        _fixed_moments(A, S, W, j, low, last + 1)
        if n == 1:
            W[AT_TEAM], W[AT_CL] = u, u
            add_moments(A, S, W, u, low, last + 1)
        elif n > 1:
            ask_team(A, S, W, j, row, kind, low, last)
        for k in range(W[W_N_TAU]):
            if _is_worth_trying(A, B, S, W, R, j, row, m, kind, low, k):
                keep_if_best(A, B, S, W, R, j, row, n, m, held)


@compiled_apart
def _is_worth_trying(
    A: Ints,
    B: Floats,
    S: Ints,
    W: Ints,
    R: Floats,
    j: int,
    row: int,
    m: int,
    kind: int,
    low: int,
    i: int,
) -> bool:
    """Name the gaps at a moment in the scratch; False if they cannot be the cheapest."""
    n, theta = mode(A, row, M_PEOPLE), W[at(W, TAU) + i]
    if n == 1:
        W[AT_CP] = advance(A, S, W[AT_CL], W[AT_CP], theta)
        if m >= 0:
            slot = A[N_SEATS]
            W[AT_CP + slot] = advance(A, S, W[AT_CL + slot], W[AT_CP + slot], theta)
        if is_too_dear(A, B, S, W, R, j, m, low, mode(A, row, M_WORK)):
            return False
    set_fixed(A, S, W, j, theta)
    return n <= 1 or has_team(A, B, S, W, R, j, row, m, kind, i)


@compiled_apart
def _lay_as_before(A: Ints, S: Ints, W: Ints, j: int, row: int) -> bool:
    """Name in the scratch who and what the last plan had; False if they cannot have it."""
    W[W_DUTY_OF] = NONE
    n, start = mode(A, row, M_PEOPLE), job(A, j, J_PREV_START)
    m, first = job(A, j, J_PREV_MACHINE), job(A, j, J_PREV)
    if job(A, j, J_PREV_END) - first != n or not _has_machine(A, row, m):
        return False
    _lay_lines(A, W, j, m)
    for k in range(n):
        found = NONE
        for u in range(A[N_UNITS]):
            is_on = unit(A, u, U_START) <= start < unit(A, u, U_END)
            if unit(A, u, U_PERSON) == listed(A, first + k) and is_on:
                found = u
        if found < 0 or until(A, kind_of(A, row, m, k), found) < start:
            return False
        if not may_do(A, S, W, j, found, n):
            return False
        W[AT_TEAM + k], W[AT_CL + k] = found, found
        W[AT_CP + k] = advance(A, S, found, NONE, start)
    set_fixed(A, S, W, j, start)
    return True


@compiled
def _has_machine(A: Ints, row: int, m: int) -> bool:
    """Whether a mode can be done with a machine, or without where it is NONE."""
    is_there = False
    for i in range(mode(A, row, M_MACHINES), mode(A, row, M_MACHINES_END), 2):
        is_there |= listed(A, i) == m
    return is_there
