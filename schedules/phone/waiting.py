"""A pull that waits: for news of its own scopes, with its database connection given back."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime

from equipment.site.bell import bell, give_back
from equipment.site.callers import Caller

from .carry import refresh_carried, rest_s, turn_in_process
from .pull import Cursor, Pull, pull

MOST_WAIT_S = 25
RETRY_AFTER_S = 20
GATHER_S = 0.05  # changes come in bursts: one look for what comes so soon after the first


@dataclass(frozen=True, slots=True)
class Waited:
    """What a pull got, and whether there was no room to wait."""

    pull: Pull
    is_crowded: bool = False


def wait_for_news(caller: Caller, known: Cursor | None, wait_s: float) -> Waited:
    """Pull; where nothing is new, wait and pull again until something is or the time is over."""
    if wait_s <= 0:
        return Waited(pull(caller, known, datetime.now(UTC)))
    until = time.monotonic() + wait_s
    count = bell.count(caller.site.pk)
    found = pull(caller, known, datetime.now(UTC))
    if found.is_news:
        return Waited(found)
    if not bell.places.acquire(blocking=False):
        return Waited(found, is_crowded=True)
    try:
        return Waited(_wait(caller, found, count, until))
    finally:
        bell.places.release()


def _wait(caller: Caller, found: Pull, count: int, until: float) -> Pull:
    while not found.is_news and (left := until - time.monotonic()) > 0:
        give_back()
        if bell.wait(caller.site.pk, count, left):
            bell.gather(min(_pause_s(found, caller.site.pk), until - time.monotonic()))
        if not bell.is_open:
            break
        count = bell.count(caller.site.pk)
        with turn_in_process(caller.site.pk):  # whoever is woken too keeps no connection meanwhile
            refresh_carried(caller.site, datetime.now(UTC))
        found = pull(caller, found.cursor, datetime.now(UTC))
    return found


def _pause_s(found: Pull, site_id: int) -> float:
    age = datetime.now(UTC) - (found.made_at or datetime.now(UTC))
    return max(GATHER_S, rest_s(site_id) - abs(age.total_seconds()))
