"""Keeping what phones carry: built from one look at the site, stored where it differs.

A look sees the site at one moment (repeatable read), so its version and its documents belong
together: whoever holds version V holds every change up to V and none after it (reliability R16).
Looks of one site take turns; whoever waited takes over what another's look has just made.
"""

from __future__ import annotations

import hashlib
import json
import threading
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import Max

from equipment.site.models import Site
from equipment.site.queries import site_version

from .documents import Document, Look, machine_documents, site_documents
from .documents_more import more_documents
from .documents_work import work_documents
from .models import Carried, CarriedState

STAYS_FRESH = timedelta(seconds=60)  # times move on even where nothing is told
GONE_FOR = timedelta(days=30)  # how long phones are told that a document is gone
TURN = 1_382_001  # first key of the advisory locks of looks
STANDING = """
    SELECT v.version, v.kept_through,
        coalesce(k.version, -1), k.made_at, coalesce(k.n, 0), coalesce(k.whole_below, 0),
        v.epoch, s.system_identifier, c.timeline_id, d.oid
    FROM equipment_siteversion v
    LEFT JOIN schedules_carriedstate k ON k.site_id = v.site_id
    CROSS JOIN pg_control_system() s
    CROSS JOIN pg_control_checkpoint() c
    CROSS JOIN pg_database d
    WHERE v.site_id = %s AND d.datname = current_database()
"""
_turns: dict[int, AbstractContextManager[object]] = defaultdict(threading.RLock)
_took_s: dict[int, float] = defaultdict(float)  # the last look at each site

Key = tuple[str, str, str]  # scope, kind, key


@dataclass(frozen=True, slots=True)
class Fresh:
    """A document with the digest of its body."""

    document: Document
    digest: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a site and its documents stand, in which life of the database."""

    version: int
    epoch: str
    kept_through: int
    shown: int
    made_at: datetime | None
    n: int
    whole_below: int

    def is_fresh(self, version: int, now: datetime) -> bool:
        """Whether the documents show that version, as of a minute ago at most."""
        if self.made_at is None or self.shown < version:
            return False
        return abs(now - self.made_at) < STAYS_FRESH


def standing_of(site_id: int) -> Standing:
    """Say where a site and its documents stand: 1 query.

    A restore makes another epoch, whichever way it is done: another cluster, timeline or database,
    or the same one with the site's own epoch renewed (reliability R23).
    """
    with connection.cursor() as cursor:
        cursor.execute(STANDING, [site_id])
        version, kept_through, shown, made_at, n, whole_below, *life = cursor.fetchone()
    epoch = hashlib.sha256("|".join(map(str, life)).encode()).hexdigest()[:16]
    return Standing(version, epoch, kept_through, shown, made_at, n, whole_below)


def turn_in_process(site_id: int) -> AbstractContextManager[object]:
    """Be the one thread of this process that looks; taken before one has a database connection."""
    return _turns[site_id]


def refresh_carried(site: Site, now: datetime) -> None:
    """See to it that what phones carry is as new as the site was when this was called.

    1 query where nothing has moved for a minute, else some 60 whatever the farm's size.
    """
    standing = standing_of(site.pk)
    if standing.is_fresh(standing.version, now):
        return
    with _turn(site.pk):
        if not standing_of(site.pk).is_fresh(standing.version, now):
            _look_anew(site, now)


@contextmanager
def _turn(site_id: int) -> Iterator[None]:
    """Look one after another: threads by a lock of the process, processes by the database's.

    The database's is taken before the look begins, so that it sees what the one before wrote.
    """
    with turn_in_process(site_id), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s, %s)", [TURN, site_id])
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [TURN, site_id])


@contextmanager
def one_moment() -> Iterator[None]:
    """Let every query see the database at one moment; within a transaction that one's view."""
    is_first = not connection.in_atomic_block
    with transaction.atomic():
        if is_first:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield


def rest_s(site_id: int) -> float:
    """How long to rest after the last look, so that looks take a third of the time at most."""
    return 2 * _took_s[site_id]


def _look_anew(site: Site, now: datetime) -> None:
    began = time.perf_counter()
    with one_moment():
        version = site_version(site.pk)
        state, _made = CarriedState.objects.get_or_create(site=site)
        state.n += 1
        look = Look(site, now)
        built = {
            (fresh.document.scope, fresh.document.kind, fresh.document.key): fresh
            for fresh in map(_digested, build(look))
        }
        _store(state, built, now)
        state.version, state.made_at = version, now
        state.save(update_fields=["version", "made_at", "n", "whole_below"])
    _took_s[site.pk] = time.perf_counter() - began


def build(look: Look) -> Iterable[Document]:
    """Build every document of a site: a fixed number of queries."""
    yield from site_documents(look)
    yield from machine_documents(look)
    yield from work_documents(look)
    yield from more_documents(look)


def _digested(document: Document) -> Fresh:
    text = json.dumps(document.body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return Fresh(document, hashlib.sha256(text.encode()).hexdigest())


def _store(state: CarriedState, built: dict[Key, Fresh], now: datetime) -> None:
    """Write what differs, mark what is gone, forget what has been gone for long: 5 queries."""
    _forget(state, now)
    rows = Carried.objects.filter(site_id=state.site_id).defer("body")
    stored = {(row.scope, row.kind, row.key): row for row in rows}
    added: list[Carried] = []
    changed: list[Carried] = []
    for key, fresh in built.items():
        row = stored.pop(key, None)
        if row is not None and row.digest == fresh.digest:
            continue
        row = row or Carried(site_id=state.site_id, scope=key[0], kind=key[1], key=key[2])
        (changed if row.pk else added).append(row)
        row.body, row.digest, row.n, row.gone_at = fresh.document.body, fresh.digest, state.n, None
    for row in stored.values():
        if row.gone_at is None:
            row.body, row.digest, row.n, row.gone_at = None, "", state.n, now
            changed.append(row)
    Carried.objects.bulk_create(added, batch_size=1000)
    Carried.objects.bulk_update(changed, ["body", "digest", "n", "gone_at"], batch_size=1000)


def _forget(state: CarriedState, now: datetime) -> None:
    old = Carried.objects.filter(site_id=state.site_id, gone_at__lt=now - GONE_FOR)
    newest = old.aggregate(n=Max("n"))["n"]
    if newest is not None:
        old.delete()
        state.whole_below = newest
