"""One transaction of one site: what it changed, in order, and whom to tell after it commits."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from .models import Change, Event, SiteVersion
from .rows import insert_rows, update_rows
from .runs import SUBSCRIBERS, enqueue

BELL = "site_version"  # channel of NOTIFY; its payload is the site's id
NEXT_VERSION = """
    WITH bumped AS (
        UPDATE equipment_siteversion SET version = version + 1 WHERE site_id = %s
        RETURNING version
    )
    SELECT version, pg_notify(%s, %s::text) FROM bumped
"""


@dataclass
class SiteWrite:
    """Collects what a transaction changed; written as its last statements."""

    site_id: int
    at: datetime
    changes: list[Change] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    touched: bool = False
    whole: bool = False  # what is undone in it undoes all of it
    depth: int = 0
    n_joined: int = 0
    broken: bool = False

    def change(self, topic: str, subject_id: object = "", **detail: Any) -> None:
        """Tell upper rooms of something they rest on."""
        self.changes.append(
            Change(
                site_id=self.site_id,
                version=0,
                topic=topic,
                subject_id=str(subject_id),
                detail=detail,
                at=self.at,
            )
        )

    def touch(self) -> None:
        """Say that something a page shows has moved, though no upper room rests on it."""
        self.touched = True

    def answered(self, event: Event) -> None:
        """Store an event, or what became of a stored one, with the version that holds its effect.

        Rows may refer to it before: the database looks at foreign keys when all is committed.
        """
        self.events.append(event)
        self.touched = True


class UndoneError(Exception):
    """Something in a `whole` write failed, so that all of it was undone."""


_current: ContextVar[SiteWrite | None] = ContextVar("site_write", default=None)


@contextmanager
def site_write(site_id: int, at: datetime, *, whole: bool = False) -> Iterator[SiteWrite]:
    """Open the site's write transaction, or join the one that is open.

    What joins stands in a savepoint. In a `whole` write it does not (two statements less a verb):
    where a verb has failed all is given up by UndoneError, to be done again with savepoints.

    The site's version row is bumped as the last statement, so its row lock is short and
    versions become visible in the order they are given (reliability R16). Changes ring for the
    run kinds that subscribed to their topics after the commit.
    """
    outer = _current.get()
    if outer is not None:
        if outer.site_id != site_id:
            raise RuntimeError("one transaction writes one site")
        yield from _join(outer)
        return
    write = SiteWrite(site_id, at, whole=whole)
    token = _current.set(write)
    try:
        with transaction.atomic():
            yield write
            if write.broken:
                raise UndoneError
            _finish(write)
    finally:
        _current.reset(token)


def _join(outer: SiteWrite) -> Iterator[SiteWrite]:
    """Take part in a write that is open; what is undone has changed nothing to tell of."""
    n_changes = len(outer.changes)
    outer.n_joined += 1
    n_joined, outermost = outer.n_joined, outer.depth == 0
    outer.depth += 1
    try:
        with nullcontext() if outer.whole else transaction.atomic():
            yield outer
    except BaseException:
        del outer.changes[n_changes:]
        no_verb_yet = outermost and outer.n_joined == n_joined
        outer.broken |= outer.whole and not no_verb_yet
        raise
    finally:
        outer.depth -= 1


def _finish(write: SiteWrite) -> None:
    if not write.changes and not write.touched:
        return
    version = _next_version(write.site_id)
    for change in write.changes:
        change.version = version
    insert_rows(write.changes)
    _store_events(write, version)
    for kind, beginnings in SUBSCRIBERS.items():
        if any(change.topic.startswith(beginnings) for change in write.changes):
            enqueue(kind, key=f"{write.site_id}:{version}", site_id=write.site_id, at=write.at)


def _store_events(write: SiteWrite, version: int) -> None:
    for event in write.events:
        event.version = version
    stored = [event for event in write.events if not event._state.adding]
    insert_rows([event for event in write.events if event._state.adding])
    update_rows(stored, ("state", "answer", "version"))


def _next_version(site_id: int) -> int:
    """Bump the site's version; whoever waits for news hears of it when this commits (bell.py)."""
    with connection.cursor() as cursor:
        cursor.execute(NEXT_VERSION, [site_id, BELL, site_id])
        row = cursor.fetchone()
    if row is None:
        raise SiteVersion.DoesNotExist(f"site {site_id} has no version row")
    return int(row[0])
