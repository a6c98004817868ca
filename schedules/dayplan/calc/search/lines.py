"""Putting jobs on their lines and taking them off, and looking along lines."""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.layout import (
    AT_LINE,
    D_AFTER,
    D_BEFORE,
    D_FREE,
    D_LINE,
    N_SLOTS,
    NONE,
    S_CALL,
    S_END,
    S_MACHINE,
    S_MODE,
    S_NOT_BEFORE,
    S_START,
    Ints,
    nd,
    node_after,
    node_end,
    set_nd,
    set_st,
)
from schedules.dayplan.calc.search.scratch import (
    AT_CL,
    AT_CP,
    TAU,
    W_N_TAU,
    at,
)

_MOST_MOMENTS = 400


@compiled_apart
def link(A: Ints, S: Ints, node: int, line: int, prev: int) -> None:
    """Put a node on a line after another, or first."""
    then = node_after(A, S, line, prev)
    set_nd(A, S, node, D_LINE, line)
    set_nd(A, S, node, D_BEFORE, prev)
    set_nd(A, S, node, D_AFTER, then)
    set_nd(A, S, node, D_FREE, NONE)
    if prev < 0:
        S[A[AT_LINE] + 2 * line] = node
    else:
        set_nd(A, S, prev, D_AFTER, node)
    if then < 0:
        S[A[AT_LINE] + 2 * line + 1] = node
    else:
        set_nd(A, S, then, D_BEFORE, node)


@compiled
def _unlink(A: Ints, S: Ints, node: int) -> None:
    line = nd(A, S, node, D_LINE)
    prev, then = nd(A, S, node, D_BEFORE), nd(A, S, node, D_AFTER)
    if prev < 0:
        S[A[AT_LINE] + 2 * line] = then
    else:
        set_nd(A, S, prev, D_AFTER, then)
    if then < 0:
        S[A[AT_LINE] + 2 * line + 1] = prev
    else:
        set_nd(A, S, then, D_BEFORE, prev)
    set_nd(A, S, node, D_LINE, NONE)
    set_nd(A, S, node, D_BEFORE, NONE)
    set_nd(A, S, node, D_AFTER, NONE)


@compiled_apart
def put_on(
    A: Ints,
    S: Ints,
    W: Ints,
    j: int,
    row: int,
    m: int,
    call: int,
    start: int,
    end: int,
    held: int,
) -> None:
    """Put a job on the lines that the scratch names, each after the node it names."""
    set_st(S, j, S_START, start)
    set_st(S, j, S_END, end)
    set_st(S, j, S_MODE, row)
    set_st(S, j, S_MACHINE, m)
    set_st(S, j, S_NOT_BEFORE, held)
    set_st(S, j, S_CALL, call)
    for k in range(A[N_SLOTS]):
        if W[AT_CL + k] >= 0:
            link(A, S, j * A[N_SLOTS] + k, W[AT_CL + k], W[AT_CP + k])


@compiled_apart
def take_off(A: Ints, S: Ints, j: int) -> None:
    """Take a job off all its lines."""
    for k in range(A[N_SLOTS]):
        node = j * A[N_SLOTS] + k
        if nd(A, S, node, D_LINE) >= 0:
            _unlink(A, S, node)
    set_st(S, j, S_MODE, NONE)
    set_st(S, j, S_MACHINE, NONE)


@compiled_apart
def advance(A: Ints, S: Ints, line: int, prev: int, theta: int) -> int:
    """Return the last node of a line that is over by a moment, looked for from `prev` on."""
    then = node_after(A, S, line, prev)
    while then >= 0 and node_end(A, S, then) <= theta:
        prev = then
        then = node_after(A, S, line, prev)
    return prev


@compiled_apart
def add_moments(A: Ints, S: Ints, W: Ints, line: int, low: int, high: int) -> None:
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
