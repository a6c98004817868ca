"""Waiting for a site to change: one thread a process listens, any number of requests wait.

PostgreSQL's NOTIFY is part of the transaction that bumps the version (`writes.py`), so it is heard
when that commits and never before. A bell that went unheard costs a wait, never a change: whoever
waits looks again when the time is over.
"""

from __future__ import annotations

import logging
import threading
from collections import defaultdict

import psycopg
from django.db import connection

from .writes import BELL

log = logging.getLogger(__name__)

FIRST_S = 2.0  # how long the first who waits gives the thread to listen
REST_S = 1.0  # between two tries to connect
LOOK_S = 1.0  # how often the thread looks whether it is to stop
MOST_WAITERS = 100  # in a process; each holds a thread of the web server, and nothing else


class Bell:
    """Counts each site's rings; a request waits until the count moved on from what it saw.

    Who waits takes one of its `places` and gives it back.
    """

    def __init__(self) -> None:
        self.places = threading.BoundedSemaphore(MOST_WAITERS)
        self._rung = threading.Condition()
        self._counts: dict[int, int] = defaultdict(int)
        self._thread: threading.Thread | None = None
        self._listens = threading.Event()
        self._stop = threading.Event()

    def count(self, site_id: int) -> int:
        """How often a site was heard of. Taken before one looks, given to `wait` after."""
        self._start()
        self._listens.wait(FIRST_S)
        with self._rung:
            return self._counts[site_id]

    @property
    def is_open(self) -> bool:
        """Whether it is of use to wait: not when the server ends."""
        return not self._stop.is_set()

    def wait(self, site_id: int, count: int, seconds: float) -> bool:
        """Wait until a site's count is another; False when the time or the bell is over first."""

        def is_over() -> bool:
            return self._counts[site_id] != count or not self.is_open

        with self._rung:
            return self._rung.wait_for(is_over, max(seconds, 0)) and self.is_open

    def gather(self, seconds: float) -> None:
        """Let a burst of rings go by before one looks; no longer than the bell is open."""
        self._stop.wait(max(seconds, 0))

    def ring(self, site_id: int) -> None:
        """Wake whoever waits for a site."""
        with self._rung:
            self._counts[site_id] += 1
            self._rung.notify_all()

    def close(self) -> None:
        """Stop listening and send home who waits; the next who comes opens it anew."""
        self._stop.set()
        with self._rung:
            self._rung.notify_all()
        if self._thread is not None:
            self._thread.join()
        self._thread = None

    def _start(self) -> None:
        with self._rung:
            if self._thread is not None and self._thread.is_alive():
                return
            self._stop.clear()
            facts = connection.get_connection_params()
            self._thread = threading.Thread(target=self._run, args=(facts,), daemon=True)
            self._thread.start()

    def _run(self, facts: dict[str, object]) -> None:
        while not self._stop.is_set():
            try:
                self._listen(facts)
            except psycopg.Error as error:
                log.warning("nobody hears of changes for %s s: %s", REST_S, error)
                self._stop.wait(REST_S)
            self._listens.clear()

    def _listen(self, facts: dict[str, object]) -> None:
        with psycopg.connect(**facts, autocommit=True) as listener:  # type: ignore[arg-type]
            listener.execute(f"LISTEN {BELL}")
            self._listens.set()
            self._ring_all()  # what was said while nobody listened
            while not self._stop.is_set():
                for heard in listener.notifies(timeout=LOOK_S):
                    self.ring(int(heard.payload))

    def _ring_all(self) -> None:
        with self._rung:
            for site_id in self._counts:
                self._counts[site_id] += 1
            self._rung.notify_all()


def give_back() -> None:
    """Let another request have the database connection while this one waits."""
    if not connection.in_atomic_block:
        connection.close()


bell = Bell()
