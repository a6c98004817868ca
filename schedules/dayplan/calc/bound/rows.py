"""A turn's cheapest rows under given prices, and what they cost without them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from schedules.dayplan.calc.bound.day import RelaxedDay
from schedules.dayplan.calc.bound.pricing import (
    FAR,
    L_PARENT,
    L_PART,
    L_SLOT,
    LABEL_WIDTH,
    NO_END,
    complete,
    label,
)
from schedules.dayplan.calc.bound.turns import Turn

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_NONE = -1e-7  # a row must be cheaper than that to count
_N_BEST = 12  # rows given for each turn
_N_NEAR = 8  # parts whose jobs each part remembers; more hardly better the bound


@dataclass(frozen=True, slots=True)
class Prices:
    """What each part done is worth, and what each stand's machine taken over costs more."""

    parts: Floats
    stands: Floats

    def toward(self, other: Prices, share: float) -> Prices:
        """Return prices between these and others."""
        parts = (1 - share) * self.parts + share * other.parts
        return Prices(parts, (1 - share) * self.stands + share * other.stands)


@dataclass(frozen=True, slots=True)
class Row:
    """One turn's parts in order, with the stands used, and its cost without prices."""

    turn: int
    parts: tuple[int, ...]
    stands: tuple[int, ...]
    cost: float


class Room:
    """Labels' room, used again for each turn."""

    def __init__(self, n_labels: int, several: Sequence[Rows]) -> None:
        n_words = max((rows.n_words for rows in several), default=1)
        self.labels = np.zeros((n_labels, LABEL_WIDTH), np.int64)
        self.costs = np.zeros(n_labels)
        self.masks = np.zeros((n_labels, n_words), np.uint64)
        self.heads = np.zeros(max((rows.n_slots for rows in several), default=1), np.int64)
        self.same = np.zeros(max((rows.n for rows in several), default=1), np.int64)


class Rows:
    """All rows of one turn."""

    def __init__(self, day: RelaxedDay, t: int, turn: Turn) -> None:
        self.t, self.turn = t, turn
        self.n, self.n_slots = turn.ends.shape
        _, bits = np.unique([day.parts[r].job for r in turn.parts], return_inverse=True)
        self.bits = bits.astype(np.int64)
        self.n_words = 1 + int(self.bits.max(initial=0)) // 64
        self.spans, self.last_ready = np.zeros((self.n, 2), np.int64), np.zeros(self.n, np.int64)
        for k, ends in enumerate(turn.ends):
            ready = np.flatnonzero(ends < NO_END)
            self.spans[k] = ends[ready].min(), ends[ready].max()
            self.last_ready[k] = ready[-1]
        self._set_masks()
        self.rest = np.zeros((self.n, self.n_slots))
        self.best, self.best_labels = np.zeros(_N_BEST), np.zeros(_N_BEST, np.int64)

    def _set_masks(self) -> None:
        n, ways = self.n, self.turn.ways
        self.near = np.zeros((n, self.n_words), np.uint64)
        self.alive = np.zeros((self.n_slots, self.n_words), np.uint64)
        wait = np.maximum(0, self.spans[:, None, 0] - self.spans[None, :, 1])
        apart = ways[:n] + ways[:n].T + wait + wait.T
        for k in range(n):
            for other in np.argsort(apart[k], kind="stable")[:_N_NEAR]:
                _set_bit(self.near[k], int(self.bits[other]))
            for slot in range(int(self.last_ready[k]) + 1):
                _set_bit(self.alive[slot], int(self.bits[k]))

    def cheapest(self, prices: Prices, room: Room) -> tuple[float, list[Row]]:
        """Return what no row costs less than with the prices, at most 0, and cheap rows."""
        if self.n == 0:
            return 0.0, []
        turn = self.turn
        costs, used = self._costs(prices)
        priced = costs - prices.parts[turn.parts]
        facts = (turn.ends, turn.ways, priced, turn.late, turn.closing, turn.breaks)
        self.rest[:] = FAR
        least = complete(*facts, self.spans, self.rest)
        if least >= _NONE:
            return min(0.0, least), []
        self.best[:], self.best_labels[:] = _NONE, -1
        masks = (self.bits, self.near, self.alive)
        labels = (room.labels, room.costs, room.masks[:, : self.n_words])
        heads, same = room.heads[: self.n_slots], room.same[: self.n]
        n_labels = label(
            *facts, self.rest, *masks, *labels, heads, same, self.best, self.best_labels
        )
        if n_labels < len(room.labels):
            least = max(least, float(self.best[0]))
        lasts = self.best_labels[self.best_labels >= 0].tolist()
        return least, [self._row(last, prices, used, room) for last in lasts]

    def _costs(self, prices: Prices) -> tuple[Floats, Ints]:
        """Return what each part after each other costs, stands paid, and the stand used or -1."""
        costs = self.turn.costs.copy()
        used = np.full(costs.shape, -1, np.int64)
        for choice in self.turn.choices:
            k, rows = choice.part, np.arange(self.n + 1)
            if len(choice.stands) == 0:
                costs[:, k] = FAR
                continue
            priced = choice.costs + prices.stands[choice.stands]
            best = priced.argmin(axis=1)
            costs[:, k], used[:, k] = priced[rows, best], choice.stands[best]
        return costs, used

    def _row(self, last: int, prices: Prices, used: Ints, room: Room) -> Row:
        path = list(_path(last, room))[::-1]
        froms = [self.n, *path]
        stands = [int(used[i, k]) for i, k in zip(froms, path, strict=False) if used[i, k] >= 0]
        parts = [int(self.turn.parts[k]) for k in path]
        priced = room.costs[last] + self.turn.closing[path[-1], room.labels[last, L_SLOT]]
        cost = priced + prices.parts[parts].sum() - prices.stands[stands].sum()
        return Row(self.t, tuple(parts), tuple(stands), float(cost))


def _path(at: int, room: Room) -> Iterator[int]:
    while at >= 0:
        yield int(room.labels[at, L_PART])
        at = int(room.labels[at, L_PARENT])


def _set_bit(mask: NDArray[np.uint64], bit: int) -> None:
    mask[bit >> 6] |= np.uint64(1) << np.uint64(bit & 63)
