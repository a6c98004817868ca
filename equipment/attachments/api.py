"""The API of attachments: a file goes in under an id of its sender's making, and comes out."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import IO, Any, ClassVar

from django.http import HttpResponse
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import override
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import APIException, UnsupportedMediaType
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from equipment.errors import AttachmentTooLargeError, DecodersBusyError
from equipment.site.callers import caller_on
from equipment.site.errors import NotFoundError

from . import decoding, store
from .models import Attachment, AttachmentKind
from .services import MAX_BYTES, take_in

KEPT_AS = {AttachmentKind.PHOTO: ("image/jpeg", "jpg"), AttachmentKind.VOICE: ("audio/mp4", "m4a")}
TAKEN = (*decoding.PHOTOS, *decoding.VOICES)
ONE_RANGE = re.compile(r"bytes=(\d{0,9})-(\d{0,9})", re.ASCII)


class BusyError(APIException):
    """All decoders are at work; the same file may be sent again."""

    status_code = 503
    default_code = "decoders_busy"
    wait = 5  # s


class AttachmentOutput(serializers.ModelSerializer[Attachment]):
    """What is kept of the file."""

    class Meta:
        model = Attachment
        fields = ["id", "kind", "sha256", "n_bytes", "width", "height", "seconds", "received_at"]


class FileParser(BaseParser):
    """Gives the raw file; one byte over the limit is over the limit."""

    media_type = "*/*"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Read no more than is needed to know that it is too much."""
        body: bytes = stream.read(MAX_BYTES + 1)
        if len(body) > MAX_BYTES:
            raise AttachmentTooLargeError(
                _("A file may have up to %d MB. Send a smaller one.") % (MAX_BYTES // 10**6)
            )
        return body


class _FileRenderer(BaseRenderer):
    """Stands for what GET gives, so that it may be asked for; a refusal is JSON all the same."""

    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        return json.dumps(data).encode()


class PhotoRenderer(_FileRenderer):
    media_type = "image/jpeg"
    format = "jpg"


class VoiceRenderer(_FileRenderer):
    media_type = "audio/mp4"
    format = "m4a"


class AttachmentView(APIView):
    """One photo or voice note."""

    parser_classes = (FileParser,)
    renderer_classes: ClassVar[tuple[type[BaseRenderer], ...]] = (  # type: ignore[misc]
        JSONRenderer,
        PhotoRenderer,
        VoiceRenderer,
    )

    @extend_schema(
        request=dict.fromkeys(TAKEN, OpenApiTypes.BINARY),
        responses={
            200: AttachmentOutput,
            201: AttachmentOutput,
            503: OpenApiResponse(description="Too many files at once"),
            507: OpenApiResponse(description="The farm's space is full"),
        },
        operation_id="put_attachment",
    )
    def put(self, request: Request, slug: str, attachment_id: uuid.UUID) -> Response:
        """Take in a photo (JPEG, PNG, WebP) or voice note (WebM, MP4, Ogg) of up to 5 MB.

        The same file under the same id again changes nothing (200). What is kept is made anew:
        a JPEG of at most 1600 px a side, or AAC in MP4, with nothing else of what was sent.
        """
        caller = caller_on(request.user, slug)
        content_type = (request.content_type or "").partition(";")[0].strip().lower()
        with override(caller.language):
            if content_type not in TAKEN:
                raise UnsupportedMediaType(content_type)
            body: Any = request.data or b""  # without a body it is an empty dictionary
            try:
                received = take_in(
                    caller=caller,
                    attachment_id=attachment_id,
                    content_type=content_type,
                    body=body,
                    at=datetime.now(UTC),
                )
            except DecodersBusyError as error:
                raise BusyError(error.detail) from error
        shown = AttachmentOutput(received.attachment).data
        return Response(shown, status=201 if received.is_new else 200)

    @extend_schema(
        parameters=[OpenApiParameter("Range", str, OpenApiParameter.HEADER)],
        responses={
            (200, "image/jpeg"): OpenApiTypes.BINARY,
            (200, "audio/mp4"): OpenApiTypes.BINARY,
            (206, "image/jpeg"): OpenApiTypes.BINARY,
            (206, "audio/mp4"): OpenApiTypes.BINARY,
            304: OpenApiResponse(description="The caller has it"),
            416: OpenApiResponse(description="The file is shorter than that"),
        },
        operation_id="get_attachment",
    )
    def get(self, request: Request, slug: str, attachment_id: uuid.UUID) -> HttpResponse:
        """Give the file. It never changes, so it may be kept for good."""
        caller = caller_on(request.user, slug)
        found = Attachment.objects.filter(site=caller.site, id=attachment_id).first()
        if found is None:
            raise NotFoundError(_("There is no such attachment here."))
        etag = f'"{found.sha256}"'
        if request.headers.get("If-None-Match", "").strip() == etag:
            return _with_head(HttpResponse(status=304), found, etag)
        try:
            body = store.path_of(found.sha256).read_bytes()
        except FileNotFoundError as error:  # a restore without the folder of files
            raise NotFoundError(_("The file of this attachment is lost.")) from error
        return _with_head(_ranged(request.headers.get("Range", ""), body), found, etag)


def _ranged(asked: str, body: bytes) -> HttpResponse:
    """Answer a range of bytes (RFC 9110, 14.2), without which some players play nothing."""
    match = ONE_RANGE.fullmatch(asked)
    if match is None or not any(match.groups()):
        return HttpResponse(body)
    first, last = match.groups()
    start = int(first) if first else max(0, len(body) - int(last))
    end = min(int(last), len(body) - 1) if first and last else len(body) - 1
    if start > end:
        return HttpResponse(status=416, headers={"Content-Range": f"bytes */{len(body)}"})
    answer = HttpResponse(body[start : end + 1], status=206)
    answer["Content-Range"] = f"bytes {start}-{end}/{len(body)}"
    return answer


def _with_head(answer: HttpResponse, found: Attachment, etag: str) -> HttpResponse:
    content_type, ending = KEPT_AS[AttachmentKind(found.kind)]
    answer["Content-Type"] = content_type
    answer["Content-Disposition"] = f'inline; filename="{found.pk}.{ending}"'
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    answer["ETag"] = etag
    answer["Accept-Ranges"] = "bytes"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer


urlpatterns = [
    path(
        "sites/<slug:slug>/attachments/<uuid:attachment_id>/",
        AttachmentView.as_view(),
        name="api-attachment",
    ),
]
