"""Waiting for other processes: a condition, asked again until a deadline; never a blind pause."""

import time
from collections.abc import Callable


def wait_for(condition: Callable[[], bool], what: str, within_s: float = 60.0) -> float:
    """Return after how many seconds the condition held; fail where it does not in time."""
    started = time.monotonic()
    while not condition():
        waited_s = time.monotonic() - started
        assert waited_s < within_s, f"not within {within_s:g} s: {what}"
        time.sleep(0.05)
    return time.monotonic() - started
