"""What a call rests on: the version it read, and that it is made once."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from uuid import UUID

from django.db import OperationalError, connection, models, transaction
from django.http import HttpRequest
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from .callers import Caller
from .errors import DomainError, InvalidInputError, StaleError
from .models import IdempotencyKey, SiteVersion

ROOT = Path(__file__).resolve().parents[2]
KEY_LENGTH = 80
PRINTABLE_KEY = re.compile(f"[ -~]{{1,{KEY_LENGTH}}}")
PATIENCE_MS = 10_000


class PreconditionMissingError(DomainError):
    """A write to a plan object must say which version it rests on."""

    code = "if_match_missing"
    status = 428


class VersionStaleError(StaleError):
    """The object is at another version; `etag` goes into the answer's header."""

    def __init__(self, detail: str, etag: str) -> None:
        super().__init__(detail)
        self.etag = etag


class KeyMissingError(InvalidInputError):
    """An unsafe call came without its Idempotency-Key."""

    code = "idempotency_key_missing"


class KeyReusedError(DomainError):
    """The same Idempotency-Key came with another body."""

    code = "idempotency_key_reused"
    status = 422


class StillRunningError(APIException):
    """The same call is still at work; it may be sent again with the same key."""

    status_code = 409
    default_code = "still_running"
    wait = 1


# Versions ---------------------------------------------------------------------------------------


def etag_of(row: models.Model) -> str:
    """Give the strong ETag of a row that carries a version."""
    return f'"{row.pk}-{row.version}"'  # type: ignore[attr-defined]


def etag_of_data(data: Any) -> str:
    """Give the strong ETag of what carries no version: a digest of the answer itself."""
    return f'"{hashlib.sha256(JSONRenderer().render(data)).hexdigest()[:32]}"'


def check_if_match(request: Request, etag: str, changed_by: Callable[[], str]) -> None:
    """Ask for If-Match (RFC 9110, 13.1.1): 428 without, 412 when the object moved on.

    `changed_by` names who changed it last, where that is known.
    """
    given = request.headers.get("If-Match", "").strip()
    if not given:
        raise PreconditionMissingError(_("Send If-Match with the ETag you read."))
    if etag not in parse_etags(given):  # `*` names no version, so it does not do here
        raise VersionStaleError(_stale(etag, changed_by()), etag)


def _stale(etag: str, who: str) -> str:
    if who:
        words = _("%(who)s changed it since you read it: it is at %(etag)s now. Read it again.")
    else:
        words = _("It changed since you read it: it is at %(etag)s now. Read it again.")
    return words % {"etag": etag, "who": who}


def answer_tagged(request: Request, data: Any, etag: str) -> Response:
    """Answer with an ETag, or 304 when the caller has it already (RFC 9110, 13.1.2)."""
    if is_known(request, etag):
        return Response(status=304, headers={"ETag": etag})
    return Response(data, headers={"ETag": etag})


def is_known(request: Request | HttpRequest, etag: str) -> bool:
    """Whether If-None-Match names this ETag; compared weakly (RFC 9110, 8.8.3.2 and 13.1.2)."""
    given = parse_etags(request.headers.get("If-None-Match", ""))
    return given == ["*"] or etag.removeprefix("W/") in {tag.removeprefix("W/") for tag in given}


@dataclass(frozen=True, slots=True)
class Asked:
    """Which list, in which form: all of it follows from a call's address and headers."""

    slug: str
    address: str
    media_type: str
    language: str


class RestsOn(NamedTuple):
    """What of the site and the caller a list follows from."""

    epoch: UUID
    version: int
    actor_id: int
    role: str
    language: str


def rests_on(caller: Caller) -> RestsOn:
    """Give the state of the caller's site, and who asks: 1 query; a phone's site has come with it.

    Read before the rows: what commits meanwhile shows in the answer already, and the caller who
    comes back with its ETag then gets the rows again and no 304.
    """
    row: SiteVersion = caller.site.siteversion
    who = (caller.actor.pk, str(caller.role), caller.language)
    return RestsOn(row.epoch, row.version, *who)


def etag_of_state(asked: Asked, state: RestsOn) -> str:
    """Give the ETag of an answer that moves with nothing but the site, the caller and the address.

    Weak: 2 answers of one ETag may differ by what came while the rows were read.
    """
    told = (*state, asked.language, asked.address, asked.media_type, code_edition())
    return f'W/"{hashlib.sha256(repr(told).encode()).hexdigest()[:32]}"'


@cache
def code_edition() -> str:
    """Give a digest of the rooms' sources and words: after an upgrade the same rows may read
    differently.
    """
    digest = hashlib.sha256()
    for folder in ("config", "crews", "equipment", "schedules"):
        for path in sorted(ROOT.joinpath(folder).rglob("*.[pm][yo]")):
            digest.update(path.read_bytes())
    return digest.hexdigest()


# Once -------------------------------------------------------------------------------------------


def once(request: Request, caller: Caller, now: datetime, do: Callable[[], Response]) -> Response:
    """Do an unsafe call once per Idempotency-Key; a repeat gets the first answer (R15).

    The key row is inserted first, in the effect's own transaction, so that a second caller
    waits for the first and then reads its answer; one that waits too long is told to come
    again. A refusal keeps nothing: the same key may then be sent with what was put right.
    """
    key = _key_of(request)
    fingerprint = _fingerprint(request)
    with transaction.atomic():
        row, is_new = _take_key(caller, key, fingerprint, now)
        if not is_new:
            if row.fingerprint != fingerprint:
                raise KeyReusedError(_("This Idempotency-Key was used for another call."))
            return Response(row.body, status=row.status)
        response = do()
        row.status = response.status_code
        row.body = json.loads(JSONRenderer().render(response.data) or b"null")
        row.save(update_fields=["status", "body"])
    return response


def _key_of(request: Request) -> str:
    key = request.headers.get("Idempotency-Key", "").strip()
    if not PRINTABLE_KEY.fullmatch(key):
        raise KeyMissingError(
            _("Send an Idempotency-Key of your own making, new for each call, up to 80 signs.")
        )
    return key


def _fingerprint(request: Request) -> str:
    text = f"{request.method} {request.path} {json.dumps(request.data, sort_keys=True)}"
    return hashlib.sha256(text.encode()).hexdigest()


def _take_key(
    caller: Caller, key: str, fingerprint: str, now: datetime
) -> tuple[IdempotencyKey, bool]:
    """Insert the key, or wait for whoever holds it and give theirs."""
    facts = {"site": caller.site, "fingerprint": fingerprint, "created_at": now}
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, true)", [f"{PATIENCE_MS}ms"])
    try:
        taken = IdempotencyKey.objects.get_or_create(
            principal=f"{caller.actor.pk}", key=key, defaults=facts
        )
    except OperationalError as error:
        if not _is_lock_timeout(error):
            raise
        raise StillRunningError(_("The same call is still at work. Send it again.")) from error
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', '0', true)")
    return taken


def _is_lock_timeout(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", "") == "55P03"  # lock_not_available
