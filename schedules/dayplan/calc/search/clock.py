"""When work can be done and when it is over: breaks, heat rest, windows, free time of people.

A team stands in the scratch from `base` on, `n` units long.
"""

from equipment.site.calc.compiled import compiled, compiled_apart
from schedules.dayplan.calc.search.layout import (
    AT_MERGE,
    AT_PACE,
    AT_SLOW,
    J_EFFORT,
    J_MAY_PAUSE,
    J_OPEN,
    J_OPEN_END,
    N_PACES,
    NEVER,
    U_BREAK,
    U_BREAK_END,
    U_END,
    U_FREE,
    U_FREE_END,
    U_PACE,
    X_FREE,
    X_FREE_END,
    Ints,
    closes,
    job,
    machine,
    opens,
    unit,
)
from schedules.dayplan.calc.search.scratch import W_END


@compiled
def after(A: Ints, u: int, at: int, needed: int) -> int:
    """When `needed` seconds have passed for a unit since an instant, breaks not counted."""
    for i in range(unit(A, u, U_BREAK), unit(A, u, U_BREAK_END)):
        start, end = opens(A, i), closes(A, i)
        if end <= at:
            continue
        if at + needed <= start:
            break
        needed -= max(0, start - at)
        at = end
    return at + needed


@compiled
def before(A: Ints, u: int, at: int, needed: int) -> int:
    """Return the latest instant from which `needed` seconds have passed for a unit by `at`."""
    for i in range(unit(A, u, U_BREAK_END) - 1, unit(A, u, U_BREAK) - 1, -1):
        start, end = opens(A, i), closes(A, i)
        if start >= at:
            continue
        if at >= end:
            if at - end >= needed:
                break
            needed -= at - end
        at = min(at, start)
    return at - needed


@compiled
def pace_of(A: Ints, W: Ints, base: int, n: int) -> int:
    """Return the pace profile of a team: at each moment that of the one who must rest most."""
    pace = unit(A, W[base], U_PACE) if n > 0 else 0
    for k in range(1, n):
        pace = A[A[AT_MERGE] + pace * A[N_PACES] + unit(A, W[base + k], U_PACE)]
    return pace


@compiled_apart
def _end_with_rest(A: Ints, first: int, last: int, start: int, work: int) -> int:
    left, at = work * 60, start
    for i in range(first, last):
        a, b, rate = A[A[AT_SLOW] + 3 * i], A[A[AT_SLOW] + 3 * i + 1], A[A[AT_SLOW] + 3 * i + 2]
        if b <= at:
            continue
        if a > at:
            if left <= (a - at) * 60:
                break
            left -= (a - at) * 60
            at = a
        if left <= (b - at) * rate:
            return at - (-left // rate)
        left -= (b - at) * rate
        at = b
    return at - (-left // 60)


@compiled_apart
def _end_with_pauses(
    A: Ints, W: Ints, base: int, n: int, first: int, last: int, start: int, work: int
) -> int:
    left, at = work * 60, start
    while True:
        rate, edge = 60, NEVER
        for i in range(first, last):
            a, b = A[A[AT_SLOW] + 3 * i], A[A[AT_SLOW] + 3 * i + 1]
            if a <= at < b:
                rate = A[A[AT_SLOW] + 3 * i + 2]
                edge = min(edge, b)
            elif a > at:
                edge = min(edge, a)
        for k in range(n):
            for i in range(unit(A, W[base + k], U_BREAK), unit(A, W[base + k], U_BREAK_END)):
                if opens(A, i) <= at < closes(A, i):
                    rate = 0
                    edge = min(edge, closes(A, i))
                elif opens(A, i) > at:
                    edge = min(edge, opens(A, i))
        if left <= (edge - at) * rate:
            return at - (-left // rate)
        if edge == NEVER:
            return NEVER
        left -= (edge - at) * rate
        at = edge


@compiled
def end_of(A: Ints, W: Ints, j: int, base: int, n: int, start: int, work: int) -> int:
    """When a team that begins a job at `start` is done with it."""
    row = A[AT_PACE] + 2 * (job(A, j, J_EFFORT) * A[N_PACES] + pace_of(A, W, base, n))
    first, last = A[row], A[row + 1]
    if job(A, j, J_MAY_PAUSE) == 1:
        return _end_with_pauses(A, W, base, n, first, last, start, work)
    if first == last:
        return start + work
    return _end_with_rest(A, first, last, start, work)


@compiled
def _free_from(A: Ints, first: int, last: int, start: int, end: int) -> int:
    """Return `start` if one span holds start to end, else the next span's start, else NEVER."""
    for i in range(first, last):
        if closes(A, i) <= start:
            continue
        if opens(A, i) > start:
            return opens(A, i)
        if end <= closes(A, i):
            return start
    return NEVER


@compiled
def unit_free(A: Ints, j: int, u: int, start: int, end: int) -> int:
    """Return `start` if a unit may do a job from start to end, else the next start to try."""
    if job(A, j, J_MAY_PAUSE) == 1:
        then = _free_from(A, unit(A, u, U_FREE), unit(A, u, U_FREE_END), start, start + 1)
        return then if end <= unit(A, u, U_END) else NEVER
    return _free_from(A, unit(A, u, U_FREE), unit(A, u, U_FREE_END), start, end)


@compiled
def machine_free(A: Ints, m: int, start: int, end: int) -> int:
    """Return `start` if a machine is there from start to end, else the next start to try."""
    return _free_from(A, machine(A, m, X_FREE), machine(A, m, X_FREE_END), start, end)


@compiled
def in_window(
    A: Ints, W: Ints, j: int, at: int, first_end: int, base: int, n: int, work: int
) -> int:
    """Return the first start from `at` on inside a window, its end in the scratch; else NEVER."""
    for i in range(job(A, j, J_OPEN), job(A, j, J_OPEN_END)):
        if closes(A, i) < at or (closes(A, i) == at and work > 0):
            continue
        start = max(at, opens(A, i))
        end = end_of(A, W, j, base, n, start, work)
        while end < first_end:
            start += first_end - end
            end = end_of(A, W, j, base, n, start, work)
        if end <= closes(A, i):
            W[W_END] = end
            return start
    return NEVER


@compiled_apart
def fit(
    A: Ints, W: Ints, j: int, at: int, first_end: int, base: int, n: int, m: int, work: int
) -> int:
    """Return the first start from `at` on in a window while team and machine are free, or NEVER.

    The end is left in the scratch.
    """
    while True:
        at = in_window(A, W, j, at, first_end, base, n, work)
        if at == NEVER:
            return NEVER
        end = W[W_END]
        then = at
        for k in range(n):
            if then == at:
                then = unit_free(A, j, W[base + k], at, end)
        if then == at and m >= 0:
            then = machine_free(A, m, at, end)
        if then == at:
            return at
        if then >= NEVER:
            return NEVER
        at = then


@compiled_apart
def last_fit(
    A: Ints, W: Ints, j: int, start: int, last_end: int, base: int, n: int, m: int, work: int
) -> int:
    """Return the latest start found, not before `start`, from which a job is done by `last_end`.

    `start` itself must fit. Looked for window by window, backwards, in the free time of the team.
    """
    low, high = start, last_end - work
    if low < high and end_of(A, W, j, base, n, high, work) <= last_end:
        low = high
    while low < high:
        middle = (low + high + 1) // 2
        if end_of(A, W, j, base, n, middle, work) <= last_end:
            low = middle
        else:
            high = middle - 1
    while low > start:
        at = _not_after(A, W, j, low, base, n, m, work)
        if at == low:
            return low
        low = max(start, at)
    return start


@compiled
def _not_after(A: Ints, W: Ints, j: int, at: int, base: int, n: int, m: int, work: int) -> int:
    """Return `at` if a job fits there, else an earlier start to try."""
    end = end_of(A, W, j, base, n, at, work)
    best = _inside(A, job(A, j, J_OPEN), job(A, j, J_OPEN_END), at, end)
    for k in range(n):
        u = W[base + k]
        if job(A, j, J_MAY_PAUSE) == 1:
            end_there = at + 1
            if end > unit(A, u, U_END):
                best = min(best, at - (end - unit(A, u, U_END)))
        else:
            end_there = end
        free = _inside(A, unit(A, u, U_FREE), unit(A, u, U_FREE_END), at, end_there)
        best = min(best, free)
    if m >= 0:
        best = min(best, _inside(A, machine(A, m, X_FREE), machine(A, m, X_FREE_END), at, end))
    return best


@compiled
def _inside(A: Ints, first: int, last: int, at: int, end: int) -> int:
    """Return `at` if a span holds at to end, else an earlier start from which one may."""
    for i in range(last - 1, first - 1, -1):
        if opens(A, i) <= at:
            return at if end <= closes(A, i) else min(at - 1, at - (end - closes(A, i)))
    return -NEVER
