"""What a whole plan costs, exactly as `score` reckons it."""

from equipment.site.calc.compiled import compiled_apart
from schedules.dayplan.calc.search.clock import after, before
from schedules.dayplan.calc.search.layout import (
    AT_SHARE,
    D_BEFORE,
    J_PLACE,
    J_PREV,
    J_PREV_END,
    N_JOBS,
    N_SEATS,
    N_SLOTS,
    N_UNITS,
    NONE,
    P_LEFT_OUT,
    S_CALL,
    S_END,
    S_MACHINE,
    S_START,
    U_BACK,
    U_PAID,
    U_PERSON,
    U_PLACE,
    U_WALK,
    W_BALANCE,
    W_CHANGE,
    W_DUTY,
    W_OVERTIME,
    W_TRAVEL,
    Floats,
    Ints,
    head,
    is_placed,
    job,
    nd,
    node_after,
    st,
    unit,
    way,
)
from schedules.dayplan.calc.search.reach import (
    call_s,
    comes_along,
    drive_s,
    is_driver,
    load_crew,
    machine_place,
    mend_s,
)
from schedules.dayplan.calc.search.scratch import AT_CREW
from schedules.dayplan.calc.search.trial import of_job, price, weight, worked_s


@compiled_apart
def way_to(A: Ints, S: Ints, u: int, node: int, place: int) -> int:
    """Return the time of a unit's way from a place to its job at a node."""
    j = node // A[N_SLOTS]
    call = st(S, j, S_CALL) if node % A[N_SLOTS] == 0 else NONE
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


@compiled_apart
def of_unit(A: Ints, B: Floats, S: Ints, u: int) -> float:
    """Return what a unit's shift costs: ways, overtime, duty."""
    node, place, travel, end = head(A, S, u), unit(A, u, U_PLACE), 0, 0
    if node < 0:
        return 0.0
    j = node // A[N_SLOTS]
    ready_s = way_to(A, S, u, node, place) + _mend_at(A, S, node)
    left_at = before(A, u, st(S, j, S_START), ready_s)
    while node >= 0:
        j = node // A[N_SLOTS]
        travel += way_to(A, S, u, node, place)
        place, end = job(A, j, J_PLACE), st(S, j, S_END)
        node = node_after(A, S, u, node)
    if unit(A, u, U_BACK) >= 0:
        home = way(A, unit(A, u, U_WALK), place, unit(A, u, U_BACK))
        travel += home
        end = after(A, u, end, home)
    cost = travel * weight(B, A, W_TRAVEL)
    cost += max(0, end - unit(A, u, U_PAID)) * weight(B, A, W_OVERTIME)
    cost += (end - left_at) * weight(B, A, W_DUTY)
    return cost


@compiled_apart
def total_cost(A: Ints, B: Floats, S: Ints, W: Ints) -> float:
    """Return what a plan costs."""
    cost = 0.0
    for u in range(A[N_UNITS]):
        cost += of_unit(A, B, S, u)
        is_last = u + 1 == A[N_UNITS] or unit(A, u + 1, U_PERSON) != unit(A, u, U_PERSON)
        if is_last and weight(B, A, W_BALANCE) > 0:
            more = worked_s(A, S, u) - A[A[AT_SHARE] + u]
            cost += max(0, more) * weight(B, A, W_BALANCE)
    for j in range(A[N_JOBS]):
        if is_placed(S, j):
            n = load_crew(A, S, W, j)
            start, end = st(S, j, S_START), st(S, j, S_END)
            cost += of_job(A, B, W, j, AT_CREW, n, st(S, j, S_MACHINE), start, end)
        else:
            cost += price(B, j, P_LEFT_OUT)
            if job(A, j, J_PREV_END) > job(A, j, J_PREV):
                cost += weight(B, A, W_CHANGE)
    return cost
