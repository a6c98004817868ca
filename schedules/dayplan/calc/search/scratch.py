"""The search's scratch: one array of whole numbers `W`, one of floats `R`, and random numbers."""

import numpy as np

from equipment.site.calc.compiled import compiled
from schedules.dayplan.calc.search.layout import N_ITEMS, N_JOBS, N_SLOTS, NEVER, NONE, Floats, Ints

# Whole numbers: singles, then lists of at most MOST entries, then lists of one entry a job.
W_RANDOM, W_START, W_END, W_CALL, W_N_QUEUE, W_QUEUE_AT, W_N_LOG, W_FAILED = range(8)
W_N_NEAR, W_N_TAU, W_BEST_MODE, W_BEST_MACHINE, W_BEST_HELD = range(8, 13)
W_BEST_START, W_BEST_END, W_BEST_CALL, W_N_TOUCHED, W_OLD_CALL, W_N_ASKED, W_BY = range(13, 20)
# A job whose call is put in or left off beside that of the job tried, and the store; when the
# person is free for what is tried, if that is later for it; whose duty R_DUTY is.
W_CALLER, W_STORE, W_DROPPED, W_FREE, W_DUTY_OF = range(24, 29)
W_BEST_CALLER, W_BEST_STORE, W_BEST_DROPPED = range(29, 32)
MOST = 128  # slots of a job at most
AT_TEAM = 32
AT_CL = AT_TEAM + MOST  # the line of each slot of what is tried
AT_CP = AT_CL + MOST  # the node before it on that line
AT_BEST_CL = AT_CP + MOST
AT_BEST_CP = AT_BEST_CL + MOST
AT_CREW = AT_BEST_CP + MOST  # the team of a placed job
AT_LISTS = AT_CREW + MOST
QUEUE, QUEUED, LOG, NEAR, TAU, BACK, BACKED, MARK, TOUCHED = range(9)
HAND, TRIED, TRIED_START, ASKED, GAPS, PAST, SOON, BY, LAST_TEAM, LIKELY, N_LISTS = range(9, 20)
LIST_ROOM = 6  # entries a job in each list

# Floats.
R_BEST_GAP, R_BLINK, R_EARLY, R_DUTY = range(4)
R_NOISE = 8  # a price a unit, drawn anew each time; then two a unit, what it adds at the least


# SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators",
# OOPSLA 2014, doi:10.1145/2660193.2660195; constants from memory), signed, so that products wrap.
_GOLDEN = 0x9E3779B97F4A7C15 - (1 << 64)
_MIX_1 = 0xBF58476D1CE4E5B9 - (1 << 64)
_MIX_2 = 0x94D049BB133111EB - (1 << 64)


def new_scratch(A: Ints, n_units: int, seed: int) -> tuple[Ints, Floats]:
    """Return empty scratch for a problem's facts, its random numbers begun from a seed."""
    n = int(A[N_JOBS]) + 2
    room = (
        max(n, MOST, n_units, int(A[N_ITEMS]))
        * LIST_ROOM
        * max(1, int(A[N_SLOTS]) // LIST_ROOM + 1)
    )
    W = np.zeros(AT_LISTS + N_LISTS * room, dtype=np.int64)
    W[AT_LISTS - 1] = room
    W[W_CALL] = W[W_CALLER] = W[W_STORE] = W[W_DROPPED] = W[W_DUTY_OF] = NONE
    W[W_FREE] = -NEVER
    W[W_RANDOM] = np.random.default_rng(seed).integers(1, 1 << 62)
    R = np.zeros(R_NOISE + 3 * n_units + n, dtype=np.float64)
    return W, R


@compiled
def at(W: Ints, which: int) -> int:
    """Return where a list begins."""
    return AT_LISTS + which * W[AT_LISTS - 1]


@compiled
def draw(W: Ints) -> float:
    """Draw a number in [0, 1)."""
    W[W_RANDOM] += _GOLDEN
    x = W[W_RANDOM]
    x = (x ^ ((x >> 30) & 0x3FFFFFFFF)) * _MIX_1
    x = (x ^ ((x >> 27) & 0x1FFFFFFFFF)) * _MIX_2
    x = x ^ ((x >> 31) & 0x1FFFFFFFF)
    return ((x >> 11) & 0x1FFFFFFFFFFFFF) / 9007199254740992.0


@compiled
def draw_below(W: Ints, n: int) -> int:
    """Draw a whole number from 0 to n - 1."""
    return min(n - 1, int(draw(W) * n))
