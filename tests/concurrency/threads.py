"""Threads with a database connection each, for tests that prove a lock or a constraint."""

import threading
from collections.abc import Callable
from typing import TypeVar

from django.db import connection, connections

T = TypeVar("T")
WAIT_S = 60.0  # far beyond any test's need: a dead thread must fail a test, not hang it


def run_together(*works: Callable[[], T]) -> list[T | Exception]:
    """Start all at one moment; give each one's result, or the exception that ended it."""
    start = threading.Barrier(len(works))
    results: list[T | Exception] = [RuntimeError("the thread did not end")] * len(works)

    def run(number: int, work: Callable[[], T]) -> None:
        try:
            start.wait(WAIT_S)
            results[number] = work()
        except Exception as error:  # noqa: BLE001, RUF100  any end is a result to look at
            results[number] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)
    return results


def somebody_waits_for_a_lock() -> bool:
    """Whether a connection to this test's own database waits for another one.

    Within a transaction PostgreSQL shows what it saw at the first look, unless told to look anew.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_clear_snapshot()")
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        return bool(cursor.fetchone()[0])
