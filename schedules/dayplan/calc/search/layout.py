"""Where everything lies: facts, state and scratch are one array each, read through these names.

One array a kind keeps calls between compiled loops cheap and copying a plan one memory copy. All
whole numbers are int64, times are seconds from the horizon's start.

Facts `A` (never written by the search): a head of offsets, then tables, one row a job, mode, unit,
machine, lag, and lists that rows point into by their first and last entry. Prices `B` are floats.
State `S`: a row a job, a node for each line a job may stand in, a head and a tail a line.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.compiled import compiled

Ints: TypeAlias = NDArray[np.int64]
Floats: TypeAlias = NDArray[np.float64]

NEVER = 1 << 50
NONE = -1

# Head of the facts: counts, then where each table begins.
N_JOBS, N_UNITS, N_MACHINES, N_PLACES, N_LINES, N_SLOTS, N_SEATS, N_PACES = range(8)
AT_JOB, AT_MODE, AT_UNIT, AT_MACHINE, AT_LAG, AT_LIST, AT_SPAN, AT_UNTIL = range(8, 16)
AT_WAY, AT_SLOW, AT_PACE, AT_MERGE, AT_NODE, AT_LINE, TOLERANCE, WASH = range(16, 24)
AT_CALL, N_STATE, AT_SHARE, AT_WEIGHT, N_KINDS = range(24, 29)
N_ITEMS, AT_HAND, AT_ROOM, AT_STOCK, AT_TOOL, N_HEAD = range(29, 35)

# A job's row.
(
    J_PLACE,
    J_LOCKED,
    J_OPEN,
    J_OPEN_END,
    J_EXCL,
    J_EXCL_END,
    J_GEAR,
    J_GEAR_END,
    J_MODE,
    J_MODE_END,
    J_WAITS,
    J_WAITS_END,
    J_AWAITED,
    J_AWAITED_END,
    J_BOND,
    J_BOND_END,
    J_ITEMS,
    J_ITEMS_END,
    J_PREV,
    J_PREV_END,
    J_PREV_MACHINE,
    J_PREV_START,
    J_CREW,
    J_BUCKET,
    J_EFFORT,
    J_MAY_PAUSE,
    J_DRIVEN,
    J_DUE,
    J_USEFUL,
    J_LATEST,
    J_RANK,
    J_HOPELESS,
    JOB_WIDTH,
) = range(33)

# A mode's row: one crew size and one duration of a job, with its machines.
M_WORK, M_PEOPLE, M_SEATS, M_MACHINES, M_MACHINES_END, MODE_WIDTH = range(6)

# A unit's row: one person on one shift.
(
    U_PERSON,
    U_START,
    U_PAID,
    U_END,
    U_PLACE,
    U_BACK,
    U_CREW,
    U_PACE,
    U_N_SKILLS,
    U_FREE,
    U_FREE_END,
    U_BREAK,
    U_BREAK_END,
    U_WALK,
    UNIT_WIDTH,
) = range(15)

# A machine's row.
(
    X_PLACE,
    X_HOOKUP,
    X_BUCKET,
    X_DRIVE,
    X_FREE,
    X_FREE_END,
    X_FUEL_PLACE,
    X_FUEL_LEFT,
    X_FUEL_FULL,
    X_FILL,
    MACHINE_WIDTH,
) = range(11)

# A lag's row: the other job, the relation, the least and the most seconds between.
L_OTHER, L_RELATION, L_LEAST, L_MOST, LAG_WIDTH = range(5)
FINISH_TO_START, START_TO_START, FINISH_TO_FINISH, START_TO_FINISH = range(4)

# Bonds: pairs of kind and other job.
SAME_PEOPLE, OTHER_PEOPLE, SAME_MACHINE = range(3)

# Prices: a row a job, then the weights, each of a second or a piece.
P_LEFT_OUT, P_LATE, P_STAKE, PRICE_WIDTH = range(4)
W_OVERTIME, W_TRAVEL, W_OFF_CREW, W_CHANGE, W_DUTY, W_BALANCE, N_WEIGHTS = range(7)

# A job's row in the state.
S_START, S_END, S_LATEST, S_ON_TIME, S_MODE, S_MACHINE, S_NOT_BEFORE, S_CALL, STATE_WIDTH = range(9)
# A node: a job on a line.
D_LINE, D_BEFORE, D_AFTER, D_FREE, NODE_WIDTH = range(5)


@compiled
def job(A: Ints, j: int, column: int) -> int:
    """Return a fact of a job."""
    return A[A[AT_JOB] + j * JOB_WIDTH + column]


@compiled
def mode(A: Ints, row: int, column: int) -> int:
    """Return a fact of a mode."""
    return A[A[AT_MODE] + row * MODE_WIDTH + column]


@compiled
def unit(A: Ints, u: int, column: int) -> int:
    """Return a fact of a unit."""
    return A[A[AT_UNIT] + u * UNIT_WIDTH + column]


@compiled
def machine(A: Ints, m: int, column: int) -> int:
    """Return a fact of a machine."""
    return A[A[AT_MACHINE] + m * MACHINE_WIDTH + column]


@compiled
def lag(A: Ints, row: int, column: int) -> int:
    """Return a fact of a lag."""
    return A[A[AT_LAG] + row * LAG_WIDTH + column]


@compiled
def listed(A: Ints, i: int) -> int:
    """Return an entry of the lists."""
    return A[A[AT_LIST] + i]


@compiled
def opens(A: Ints, i: int) -> int:
    """Return the start of a span."""
    return A[A[AT_SPAN] + 2 * i]


@compiled
def closes(A: Ints, i: int) -> int:
    """Return the end of a span."""
    return A[A[AT_SPAN] + 2 * i + 1]


@compiled
def until(A: Ints, kind: int, u: int) -> int:
    """Return the latest end that a unit's skills of a kind allow; -NEVER if it lacks one."""
    return A[A[AT_UNTIL] + kind * A[N_UNITS] + u]


@compiled
def kind_of(A: Ints, row: int, m: int, k: int) -> int:
    """Return the kind of skills asked of a seat in a mode, the first one's with the machine."""
    if k == 0:
        for i in range(mode(A, row, M_MACHINES), mode(A, row, M_MACHINES_END), 2):
            if listed(A, i) == m:
                return listed(A, i + 1)
    return listed(A, mode(A, row, M_SEATS) + k)


@compiled
def way(A: Ints, speed: int, a: int, b: int) -> int:
    """Return the time from place to place at a speed [s]."""
    return A[A[AT_WAY] + (speed * A[N_PLACES] + a) * A[N_PLACES] + b]


@compiled
def st(S: Ints, j: int, column: int) -> int:
    """Return a job's state."""
    return S[j * STATE_WIDTH + column]


@compiled
def set_st(S: Ints, j: int, column: int, value: int) -> None:
    """Set a job's state."""
    S[j * STATE_WIDTH + column] = value


@compiled
def is_placed(S: Ints, j: int) -> bool:
    """Whether a job is in the plan."""
    return S[j * STATE_WIDTH + S_MODE] >= 0


@compiled
def nd(A: Ints, S: Ints, node: int, column: int) -> int:
    """Return a node's state."""
    return S[A[AT_NODE] + node * NODE_WIDTH + column]


@compiled
def set_nd(A: Ints, S: Ints, node: int, column: int, value: int) -> None:
    """Set a node's state."""
    S[A[AT_NODE] + node * NODE_WIDTH + column] = value


@compiled
def head(A: Ints, S: Ints, line: int) -> int:
    """Return the first node of a line."""
    return S[A[AT_LINE] + 2 * line]


@compiled
def tail(A: Ints, S: Ints, line: int) -> int:
    """Return the last node of a line."""
    return S[A[AT_LINE] + 2 * line + 1]


@compiled
def node_after(A: Ints, S: Ints, line: int, node: int) -> int:
    """Return the node that follows one on its line, or the first one after none."""
    return head(A, S, line) if node < 0 else nd(A, S, node, D_AFTER)


@compiled
def node_end(A: Ints, S: Ints, node: int) -> int:
    """Return when a node's line is free after it."""
    end = S[(node // A[N_SLOTS]) * STATE_WIDTH + S_END]
    return max(end, nd(A, S, node, D_FREE))
