"""The line of phones before the intake: a few calls at work, a few that wait, others come again.

A process does little more at once than one at a time. What waits holds a thread, and what waits
for long is sent a second time: a herd of phones is welcome in parts (reliability R21).
"""

from __future__ import annotations

import heapq
import math
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore, Lock

from django.utils.translation import gettext as _

from equipment.site.errors import DomainError

AT_WORK = 3  # while one waits for the database, another reckons
WAITING = 9
PATIENCE_S = 1.0
BACK_A_S = 10  # phones asked to come back in a second; R21 wants 5
MOST_WAIT_S = 120  # whoever asks, and however many: no phone is sent away for longer


class CrowdedError(DomainError):
    """More phones tell something at once than there is room for; none of it is looked at yet."""

    code = "crowded"
    status = 503

    def __init__(self, wait_s: int) -> None:
        super().__init__(_("Many phones are sending at once. It is tried again by itself."))
        self.wait_s = wait_s


class Line:
    """Whose turn it is, in one process."""

    def __init__(self, at_work: int, waiting: int, patience_s: float) -> None:
        self.at_work, self.patience_s = BoundedSemaphore(at_work), patience_s
        self.places = BoundedSemaphore(at_work + waiting)
        self.lock = Lock()
        self.back_at: list[float] = []  # a heap; monotonic s

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for one's turn and have it; CrowdedError where that would take long."""
        if not self.places.acquire(blocking=False):
            raise CrowdedError(self._wait_s())
        try:
            if not self.at_work.acquire(timeout=self.patience_s):
                raise CrowdedError(self._wait_s())
            try:
                yield
            finally:
                self.at_work.release()
        finally:
            self.places.release()

    def _wait_s(self) -> int:
        """Say when to come again: after all who were asked before, and not all at once."""
        now = time.monotonic()
        with self.lock:
            while self.back_at and self.back_at[0] <= now:
                heapq.heappop(self.back_at)
            spread = random.uniform(0.5, 1.5)  # noqa: S311  jitter, no secret
            wait_s = math.ceil(len(self.back_at) / BACK_A_S * spread) + 1
            if len(self.back_at) < MOST_WAIT_S * BACK_A_S:
                heapq.heappush(self.back_at, now + wait_s)
        return min(wait_s, MOST_WAIT_S)


line = Line(AT_WORK, WAITING, PATIENCE_S)
