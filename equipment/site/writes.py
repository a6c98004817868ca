"""One transaction of one site: what it changed, in order, and whom to tell after it commits."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from .models import Change, SiteVersion
from .runs import SUBSCRIBERS, enqueue


@dataclass
class SiteWrite:
    """Collects what a transaction changed; written as its last statements."""

    site_id: int
    at: datetime
    changes: list[Change] = field(default_factory=list)
    touched: bool = False

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


_current: ContextVar[SiteWrite | None] = ContextVar("site_write", default=None)


@contextmanager
def site_write(site_id: int, at: datetime) -> Iterator[SiteWrite]:
    """Open the site's write transaction, or join the one that is open.

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
    write = SiteWrite(site_id, at)
    token = _current.set(write)
    try:
        with transaction.atomic():
            yield write
            _finish(write)
    finally:
        _current.reset(token)


def _join(outer: SiteWrite) -> Iterator[SiteWrite]:
    """Take part in a write that is open; what is undone has changed nothing to tell of."""
    n_changes = len(outer.changes)
    try:
        with transaction.atomic():
            yield outer
    except BaseException:
        del outer.changes[n_changes:]
        raise


def _finish(write: SiteWrite) -> None:
    if not write.changes and not write.touched:
        return
    version = _next_version(write.site_id)
    for change in write.changes:
        change.version = version
    Change.objects.bulk_create(write.changes)
    for kind, beginnings in SUBSCRIBERS.items():
        if any(change.topic.startswith(beginnings) for change in write.changes):
            enqueue(kind, key=f"{write.site_id}:{version}", site_id=write.site_id, at=write.at)


def _next_version(site_id: int) -> int:
    SiteVersion.objects.filter(site_id=site_id).update(version=F("version") + 1)
    return SiteVersion.objects.get(site_id=site_id).version
