"""What a phone gets: documents that changed since its cursor, or all of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core import signing
from django.db.models import Q

from equipment.site.callers import Caller
from equipment.site.models import Event

from .carry import Standing, one_moment, refresh_carried, standing_of
from .models import Carried
from .scopes import Reader, reader_of

SALT = "phone.pull"


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far a phone is: in which life of the database, with which scopes, up to which look."""

    epoch: str
    site: int
    scopes: tuple[str, ...]
    n: int
    version: int


@dataclass(frozen=True, slots=True)
class Pull:
    """One answer; `cursor` is where the next one goes on."""

    cursor: Cursor
    kept_through: int
    worker_id: int | None
    taken_seq: int
    made_at: datetime | None
    whole: bool
    documents: list[dict[str, Any]]
    dropped_scopes: list[str]

    @property
    def is_news(self) -> bool:
        """Whether a phone that has the cursor before learns anything."""
        return self.whole or bool(self.documents or self.dropped_scopes)


def written(cursor: Cursor) -> str:
    """Write a cursor so that nobody can make one up."""
    facts = [cursor.epoch, cursor.site, cursor.scopes, cursor.n, cursor.version]
    return signing.dumps(facts, salt=SALT, compress=True)


def read_cursor(text: str) -> Cursor | None:
    """Read a cursor; None where it is not one of ours."""
    try:
        epoch, site, scopes, n, version = signing.loads(text, salt=SALT)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    return Cursor(epoch, site, tuple(scopes), n, version)


def pull(caller: Caller, known: Cursor | None, now: datetime) -> Pull:
    """Give what changed for the caller since a cursor: 3 queries where nothing moved."""
    reader = reader_of(caller)
    standing = standing_of(caller.site.pk)
    is_fresh = standing.is_fresh(standing.version, now)
    if known and is_fresh and known == _cursor(caller, standing, reader, version=known.version):
        return _answer(caller, reader, standing, known, [])
    refresh_carried(caller.site, now)
    with one_moment():
        standing, reader = standing_of(caller.site.pk), reader_of(caller)
        known = _still_good(known, caller.site.pk, standing)
        rows = _changed(caller.site.pk, reader.scopes, known)
        return _answer(caller, reader, standing, known, rows)


def _cursor(
    caller: Caller, standing: Standing, reader: Reader, *, version: int | None = None
) -> Cursor:
    version = standing.shown if version is None else version
    return Cursor(standing.epoch, caller.site.pk, reader.scopes, standing.n, version)


def _answer(
    caller: Caller, reader: Reader, standing: Standing, known: Cursor | None, rows: list[Carried]
) -> Pull:
    dropped = set(known.scopes) - set(reader.scopes) if known else ()
    return Pull(
        cursor=_cursor(caller, standing, reader),
        kept_through=standing.kept_through,
        worker_id=reader.worker_id,
        taken_seq=_taken_seq(caller, standing.shown),
        made_at=standing.made_at,
        whole=known is None,
        documents=[_document(row) for row in rows],
        dropped_scopes=sorted(dropped),
    )


def _taken_seq(caller: Caller, version: int) -> int:
    """Give the last number of the phone's sequence that is in the site's version: 1 query."""
    if caller.device_id is None:
        return 0
    told = Event.objects.filter(site=caller.site, device_key=caller.device_id, version__lte=version)
    return told.order_by("-device_seq").values_list("device_seq", flat=True).first() or 0


def held_of(caller: Caller, ids: Collection[UUID], version: int) -> list[UUID]:
    """Say which events the documents of a version hold already, whichever phone told them: 1 query.

    None where none are asked about. A phone paired anew, or one that finds the farm come back from
    a backup, asks about what it keeps: its numbers say nothing of what another pairing told.
    """
    if not ids:
        return []
    held = Event.objects.filter(site=caller.site, pk__in=ids, version__lte=version)
    return list(held.values_list("pk", flat=True))


def _still_good(known: Cursor | None, site_id: int, standing: Standing) -> Cursor | None:
    """Refuse a cursor of another site or life, or from before what is forgotten."""
    if known is None or (known.epoch, known.site) != (standing.epoch, site_id):
        return None
    return known if standing.whole_below <= known.n <= standing.n else None


def _changed(site_id: int, scopes: Iterable[str], known: Cursor | None) -> list[Carried]:
    """Documents of scopes known before that changed, and all of scopes that are new: 1 query."""
    kept = [scope for scope in scopes if known and scope in known.scopes]
    new = [scope for scope in scopes if scope not in kept]
    wanted = Q(scope__in=new, gone_at=None)
    if known:
        wanted |= Q(scope__in=kept, n__gt=known.n)
    rows = Carried.objects.filter(wanted, site_id=site_id)
    return list(rows.order_by("scope", "kind", "key"))


def _document(row: Carried) -> dict[str, Any]:
    return {"scope": row.scope, "kind": row.kind, "key": row.key, "body": row.body}
