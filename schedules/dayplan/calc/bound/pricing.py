"""A turn's cheapest rows of parts under given prices, by labels.

`ends`, `ways`, `late`, `closing` and `breaks` are as `Turn` has them; `costs` with the prices in.

References
----------
R. Baldacci, A. Mingozzi, R. Roberti, "New route relaxation and pricing strategies for the vehicle
routing problem", Operations Research 59 (2011) 1269-1283, doi:10.1287/opre.1110.0975 (from memory):
a row remembers of the parts done only those near each later one, and labels that no completion
makes cheap enough are dropped.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.compiled import compiled, compiled_apart

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Masks = NDArray[np.uint64]

FAR = 1e6  # what costs so much cannot be
NO_END = 1 << 30  # slot of an end that cannot be
L_PART, L_SLOT, L_PARENT, L_NEXT, L_SAME, LABEL_WIDTH = range(6)
_TINY = 1e-9


@compiled
def _ends_in(slot: int, k: int, way: float, ends: Ints, breaks: Floats) -> int:
    """Return the slot in which a part is over, after a way begun in one; breaks do not count."""
    at, left = float(slot), way
    for b in range(breaks.shape[0]):
        if breaks[b, 1] <= at:
            continue
        if at + left <= breaks[b, 0]:
            break
        left -= max(0.0, breaks[b, 0] - at)
        at = breaks[b, 1]
    ready = int(at + left + 1e-6)
    return ends[k, ready] if ready < ends.shape[1] else NO_END


@compiled_apart
def complete(
    ends: Ints,
    ways: Floats,
    costs: Floats,
    late: Floats,
    closing: Floats,
    breaks: Floats,
    spans: Ints,
    rest: Floats,
) -> float:
    """Fill in the least that can come after each part and slot; return that of a whole row.

    A part may come again here, though not at once. `spans[k]` holds the first and the last slot
    that part k may end in; `rest`, of shape (n, n_slots), is written.
    """
    n, n_slots = ends.shape
    for slot in range(n_slots - 1, -1, -1):
        for k in range(n):
            if not spans[k, 0] <= slot <= spans[k, 1]:
                continue
            best = closing[k, slot]
            for then in range(n):
                if then != k and slot <= spans[then, 1]:
                    end = _ends_in(slot, then, ways[k, then], ends, breaks)
                    if end < n_slots:
                        best = min(best, costs[k, then] + late[then, end] + rest[then, end])
            rest[k, slot] = best
    best = 0.0
    for then in range(n):
        end = _ends_in(0, then, ways[n, then], ends, breaks)
        if end < n_slots:
            best = min(best, costs[n, then] + late[then, end] + rest[then, end])
    return float(best)


@compiled
def _is_dominated(at: int, first: int, L: Ints, C: Floats, M: Masks) -> bool:
    """Whether a label no later, no dearer and that rules out no more has been looked at."""
    other = first
    while other >= 0:
        if C[other] <= C[at] + _TINY:
            is_less = True
            for w in range(M.shape[1]):
                is_less &= (M[other, w] & ~M[at, w]) == 0
            if is_less:
                return True
        other = L[other, L_SAME]
    return False


@compiled
def _keep(value: float, label: int, best: Floats, best_labels: Ints) -> None:
    """Put a whole row among the best, sorted."""
    k = best.shape[0] - 1
    if value >= best[k]:
        return
    while k > 0 and best[k - 1] > value:
        best[k], best_labels[k] = best[k - 1], best_labels[k - 1]
        k -= 1
    best[k], best_labels[k] = value, label


@compiled
def _is_done(label: int, then: int, bits: Ints, M: Masks) -> bool:
    bit = np.uint64(1) << np.uint64(bits[then] & 63)
    return label >= 0 and (M[label, bits[then] >> 6] & bit) != 0


@compiled
def _remember(
    label: int, at: int, then: int, end: int, bits: Ints, near: Masks, alive: Masks, M: Masks
) -> None:
    """Write which jobs a new label rules out: it forgets those far away, and those gone by."""
    for w in range(M.shape[1]):
        M[label, w] = M[at, w] & near[then, w] if at >= 0 else np.uint64(0)
        if w == bits[then] >> 6:
            M[label, w] |= np.uint64(1) << np.uint64(bits[then] & 63)
        M[label, w] &= alive[end, w]


@compiled_apart
def _extend(
    at: int,
    n_labels: int,
    ends: Ints,
    ways: Floats,
    costs: Floats,
    late: Floats,
    breaks: Floats,
    rest: Floats,
    bits: Ints,
    near: Masks,
    alive: Masks,
    cut: float,
    L: Ints,
    C: Floats,
    M: Masks,
    heads: Ints,
) -> int:
    """Put after a label each part that may follow; return how many labels there are then."""
    n, n_slots = ends.shape
    k, slot, cost = n, 0, 0.0
    if at >= 0:
        k, slot, cost = L[at, L_PART], L[at, L_SLOT], C[at]
    for then in range(n):
        if _is_done(at, then, bits, M):
            continue
        end = _ends_in(slot, then, ways[k, then], ends, breaks)
        if end >= n_slots or n_labels == L.shape[0]:
            continue
        total = cost + costs[k, then] + late[then, end]
        if total + rest[then, end] < cut:
            L[n_labels, L_PART], L[n_labels, L_SLOT], L[n_labels, L_PARENT] = then, end, at
            C[n_labels] = total
            _remember(n_labels, at, then, end, bits, near, alive, M)
            L[n_labels, L_NEXT], heads[end] = heads[end], n_labels
            n_labels += 1
    return n_labels


@compiled_apart
def label(
    ends: Ints,
    ways: Floats,
    costs: Floats,
    late: Floats,
    closing: Floats,
    breaks: Floats,
    rest: Floats,
    bits: Ints,
    near: Masks,
    alive: Masks,
    L: Ints,
    C: Floats,
    M: Masks,
    heads: Ints,
    same: Ints,
    best: Floats,
    best_labels: Ints,
) -> int:
    """Find the cheapest rows, as their last labels; return how many labels were made.

    As many labels as there is room for: then not all was looked at.
    """
    last = best.shape[0] - 1
    heads[:], same[:] = -1, -1
    n_labels = _extend(-1, 0, ends, ways, costs, late, breaks, rest, bits, near, alive, best[last],
                       L, C, M, heads)  # fmt: skip
    for slot in range(ends.shape[1]):
        at = heads[slot]
        while at >= 0:
            k = L[at, L_PART]
            is_of_use = C[at] + rest[k, slot] < best[last]
            if is_of_use and not _is_dominated(at, same[k], L, C, M):
                L[at, L_SAME], same[k] = same[k], at
                _keep(C[at] + closing[k, slot], at, best, best_labels)
                n_labels = _extend(at, n_labels, ends, ways, costs, late, breaks, rest, bits, near,
                                   alive, best[last], L, C, M, heads)  # fmt: skip
            at = L[at, L_NEXT]
    return n_labels
