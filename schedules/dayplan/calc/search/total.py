"""What a whole plan costs, exactly as `score` reckons it."""

from equipment.site.calc.compiled import compiled_apart
from schedules.dayplan.calc.search.clock import after
from schedules.dayplan.calc.search.duty import call_at, duty_s, way_to
from schedules.dayplan.calc.search.layout import (
    AT_SHARE,
    J_PLACE,
    J_PREV,
    J_PREV_END,
    N_JOBS,
    N_SLOTS,
    N_UNITS,
    P_LEFT_OUT,
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
    node_after,
    st,
    unit,
    way,
)
from schedules.dayplan.calc.search.reach import load_crew
from schedules.dayplan.calc.search.scratch import AT_CREW
from schedules.dayplan.calc.search.trial import of_job, price, weight, worked_s


@compiled_apart
def of_unit(A: Ints, B: Floats, S: Ints, W: Ints, u: int) -> float:
    """Return what a unit's shift costs: ways, overtime, duty."""
    node, place, travel, end = head(A, S, u), unit(A, u, U_PLACE), 0, 0
    if node < 0:
        return 0.0
    while node >= 0:
        j = node // A[N_SLOTS]
        travel += way_to(A, S, u, node, place, call_at(A, S, W, node))
        place, end = job(A, j, J_PLACE), st(S, j, S_END)
        node = node_after(A, S, u, node)
    if unit(A, u, U_BACK) >= 0:
        home = way(A, unit(A, u, U_WALK), place, unit(A, u, U_BACK))
        travel += home
        end = after(A, u, end, home)
    cost = travel * weight(B, A, W_TRAVEL)
    cost += max(0, end - unit(A, u, U_PAID)) * weight(B, A, W_OVERTIME)
    if weight(B, A, W_DUTY) > 0:
        cost += duty_s(A, S, W, u) * weight(B, A, W_DUTY)
    return cost


@compiled_apart
def total_cost(A: Ints, B: Floats, S: Ints, W: Ints) -> float:
    """Return what a plan costs."""
    cost = 0.0
    for u in range(A[N_UNITS]):
        cost += of_unit(A, B, S, W, u)
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
