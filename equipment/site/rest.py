"""What every room's API is made of: one site per address, versions as ETags, answers kept."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar

from django.db import models, transaction
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from rest_framework import fields
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from .callers import Caller, caller_on
from .errors import DomainError, InvalidInputError, StaleError
from .models import IdempotencyKey

M = TypeVar("M", bound=models.Model)


class PreconditionMissingError(DomainError):
    """A write to a plan object must say which version it rests on."""

    code = "if_match_missing"
    status = 428


class KeyReusedError(DomainError):
    """The same Idempotency-Key came with another body."""

    code = "idempotency_key_reused"
    status = 422


class OffsetDateTimeField(fields.DateTimeField):
    """RFC 3339 with an offset; DRF alone would take a naive text and guess (reliability R10)."""

    default_error_messages = {
        "offset": "Give the time with its offset, as in 2026-03-04T05:10:00-07:00."
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse what has no offset."""
        if isinstance(value, str):
            parsed = _parsed(value)
            if parsed is not None and parsed.tzinfo is None:
                self.fail("offset")
        result: datetime = super().to_internal_value(value)
        return result


def _parsed(value: str) -> datetime | None:
    try:
        return parse_datetime(value)
    except ValueError:
        return None


class SiteViewSet(GenericViewSet[M]):
    """A viewset below `sites/<slug>/`: the caller is known, rows of other sites do not exist."""

    writers: tuple[str, ...] = ("manager", "lead")
    caller: Caller
    lookup_value_regex = "[0-9]+"

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Find the caller's site and role before anything else."""
        super().initial(request, *args, **kwargs)
        self.caller = caller_on(request.user, kwargs["slug"])
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            self.caller.require(*self.writers)

    def get_queryset(self) -> models.QuerySet[M]:
        """Rows of the caller's site only; `updated_since` where the model has `updated_at`."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        rows = rows.filter(site=self.caller.site)
        since = self.request.query_params.get("updated_since")
        if since:
            rows = rows.filter(updated_at__gte=parse_since(since))
        return rows

    def get_serializer_context(self) -> dict[str, Any]:
        """Serializers name things in the caller's language and the site's words."""
        context = {**super().get_serializer_context()}
        if not getattr(self, "swagger_fake_view", False):
            context["caller"] = self.caller
        return context


def parse_since(text: str) -> datetime:
    """Read `updated_since`: an instant with an offset."""
    parsed = _parsed(text)
    if parsed is None or parsed.tzinfo is None:
        raise InvalidInputError(
            _("updated_since must be a time with its offset, as in 2026-03-04T05:10:00-07:00.")
        )
    return parsed


def etag_of(row: models.Model) -> str:
    """Give the strong ETag of a row that carries a version."""
    return f'"{row.pk}-{row.version}"'  # type: ignore[attr-defined]


def check_if_match(request: Request, row: models.Model) -> None:
    """Ask for If-Match (RFC 9110, 13.1.1): 428 without, 412 when the row moved on."""
    given = request.headers.get("If-Match", "").strip()
    if not given:
        raise PreconditionMissingError(_("Send If-Match with the ETag you read."))
    if given != etag_of(row):
        raise StaleError(
            _("It changed since you read it: it is at %(etag)s now. Read it again.")
            % {"etag": etag_of(row)}
        )


def answer_row(request: Request, data: Any, row: models.Model) -> Response:
    """Answer one row with its ETag, or 304 when the caller has it already."""
    tag = etag_of(row)
    if request.headers.get("If-None-Match", "").strip() == tag:
        return Response(status=304, headers={"ETag": tag})
    return Response(data, headers={"ETag": tag})


def once(request: Request, caller: Caller, do: Callable[[], Response]) -> Response:
    """Do an unsafe call once per Idempotency-Key; a repeat gets the first answer (R15).

    The key row is inserted first, in the effect's own transaction, so that a second caller
    waits for the first and then reads its answer. Without the header the call is just done.
    """
    key = request.headers.get("Idempotency-Key", "")
    if not key:
        return do()
    text = f"{request.method} {request.path} {json.dumps(request.data, sort_keys=True)}"
    fingerprint = hashlib.sha256(text.encode()).hexdigest()
    with transaction.atomic():
        row, made = IdempotencyKey.objects.get_or_create(
            principal=f"{caller.actor.pk}",
            key=key[:80],
            defaults={
                "site": caller.site,
                "fingerprint": fingerprint,
                "created_at": datetime.now(UTC),
            },
        )
        if not made:
            if row.fingerprint != fingerprint:
                raise KeyReusedError(_("This Idempotency-Key was used for another call."))
            return Response(row.body, status=row.status)
        response = do()
        row.status, row.body = response.status_code, json.loads(json.dumps(response.data))
        row.save(update_fields=["status", "body"])
    return response
