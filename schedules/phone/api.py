"""The phone's API: pair, pull what it carries, tell what happened."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, UnreadablePostError
from django.http.response import HttpResponseBase
from django.urls import path
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import override
from django.views.decorators.gzip import gzip_page
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from crews.devices.services import pair, renew_token
from crews.errors import NotPairedError
from equipment.site.callers import caller_on
from equipment.site.errors import ForbiddenError

from .carry import standing_of
from .envelope import EventsInput, read_events
from .intake import Answer, take_events
from .line import CrowdedError, line
from .pull import held_of, read_cursor, written
from .waiting import MOST_WAIT_S, RETRY_AFTER_S, wait_for_news


@contextmanager
def revoked_is_401() -> Iterator[None]:
    """Answer a phone that lost its access meanwhile as one that never had any (RFC 6750)."""
    try:
        yield
    except NotPairedError as error:
        raise AuthenticationFailed(error.detail) from error


class PairInput(serializers.Serializer[Any]):
    """The code a lead showed."""

    code = serializers.CharField(max_length=20)


class PairOutput(serializers.Serializer[Any]):
    """The phone's token, told once, and whom it stands for."""

    token = serializers.CharField()
    site = serializers.SlugField()
    site_name = serializers.CharField()
    worker = serializers.CharField(help_text="Whose phone it is; empty for a crew's own.")
    worker_id = serializers.IntegerField(allow_null=True)
    crew = serializers.CharField(help_text="The crew that shares it; empty for a worker's own.")
    crew_id = serializers.IntegerField(allow_null=True)
    language = serializers.CharField()
    epoch = serializers.CharField(help_text="As of a pull.")


class PairView(APIView):
    """Trade a pairing code for a token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(request=PairInput, responses={201: PairOutput}, operation_id="pair_phone")
    def post(self, request: Request) -> Response:
        """Pair a phone; wrong codes are counted per address."""
        form = PairInput(data=request.data)
        form.is_valid(raise_exception=True)
        address = str(request.META.get("REMOTE_ADDR") or "127.0.0.1")
        device, token = pair(
            code=form.validated_data["code"], address=address, at=datetime.now(UTC)
        )
        body = {
            "token": token,
            "site": device.site.slug,
            "site_name": device.site.name,
            "worker": device.worker.name if device.worker else "",
            "worker_id": device.worker_id,
            "crew": device.crew.name if device.crew else "",
            "crew_id": device.crew_id,
            "language": device.worker.language if device.worker else device.site.language,
            "epoch": standing_of(device.site_id).epoch,
        }
        return Response(body, status=201)


class TokenOutput(serializers.Serializer[Any]):
    """A phone's new token, told once."""

    token = serializers.CharField()


class TokenView(APIView):
    """A phone's own token."""

    @extend_schema(request=None, responses={201: TokenOutput}, operation_id="renew_token")
    def post(self, request: Request, slug: str) -> Response:
        """Give a new token; the old one is good until this one is first used, or for a day."""
        caller = caller_on(request.user, slug)
        with override(caller.language):
            if caller.device_id is None:
                raise ForbiddenError(_("Only a paired phone has a token."))
            token = renew_token(
                site_id=caller.site.pk, device_id=caller.device_id, at=datetime.now(UTC)
            )
        return Response({"token": token}, status=201, headers={"Cache-Control": "no-store"})


MOST_UNSURE = 100  # their ids go into a line of 4 kB


class PullQuery(serializers.Serializer[Any]):
    """Where the phone is, and how long it would wait for something new."""

    cursor = serializers.CharField(required=False, allow_blank=True, max_length=4000)
    wait_s = serializers.IntegerField(
        min_value=0,
        max_value=MOST_WAIT_S,
        default=0,
        help_text="The answer waits so long for news.",
    )
    unsure = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=37 * MOST_UNSURE,
        help_text="Ids of events, by commas: which of them do the documents hold already?",
    )

    def validate_unsure(self, text: str) -> list[UUID]:
        """Read the ids."""
        try:
            return [UUID(one) for one in text.split(",") if one]
        except ValueError as error:
            raise serializers.ValidationError(_("Write ids of events, by commas.")) from error


class DocumentOutput(serializers.Serializer[Any]):
    """One thing that a phone carries; without a body it is gone."""

    scope = serializers.CharField()
    kind = serializers.CharField()
    key = serializers.CharField()
    body = serializers.DictField(allow_null=True)


class PullOutput(serializers.Serializer[Any]):
    """What changed since the cursor, or everything where `whole` is true."""

    cursor = serializers.CharField(help_text="To be stored with the documents, and sent next time.")
    epoch = serializers.CharField(
        help_text="Another one means that the service was restored: tell again what you kept."
    )
    version = serializers.IntegerField(
        help_text="The site's count of changes; the documents hold all up to it and none after."
    )
    kept_through = serializers.IntegerField(help_text="A backup holds all changes up to this.")
    now = serializers.DateTimeField()
    worker = serializers.IntegerField(
        allow_null=True, help_text="Whose phone it is; null where several people share it."
    )
    taken_seq = serializers.IntegerField(
        help_text="The documents hold what this phone told up to this number of its sequence."
    )
    held = serializers.ListField(
        child=serializers.UUIDField(), help_text="Those of `unsure` that the documents hold."
    )
    whole = serializers.BooleanField()
    documents = DocumentOutput(many=True)
    dropped_scopes = serializers.ListField(
        child=serializers.CharField(), help_text="Scopes to forget, with all their documents."
    )


@method_decorator(gzip_page, name="dispatch")
class PullView(APIView):
    """What the caller's phone carries."""

    @extend_schema(parameters=[PullQuery], responses=PullOutput, operation_id="pull")
    def get(self, request: Request, slug: str) -> Response:
        """Give what changed since a cursor; with `wait_s` as soon as something does."""
        caller = caller_on(request.user, slug)
        given = PullQuery(data=request.query_params.dict())
        given.is_valid(raise_exception=True)
        known = read_cursor(given.validated_data.get("cursor", ""))
        with revoked_is_401():
            found = wait_for_news(caller, known, given.validated_data["wait_s"])
        unsure = given.validated_data.get("unsure", [])
        body = {
            "worker": found.pull.worker_id,
            "taken_seq": found.pull.taken_seq,
            "held": held_of(caller, unsure, found.pull.cursor.version),
            "cursor": written(found.pull.cursor),
            "epoch": found.pull.cursor.epoch,
            "version": found.pull.cursor.version,
            "kept_through": found.pull.kept_through,
            "now": datetime.now(UTC),
            "whole": found.pull.whole,
            "documents": found.pull.documents,
            "dropped_scopes": found.pull.dropped_scopes,
        }
        headers = {"Retry-After": str(RETRY_AFTER_S)} if found.is_crowded else None
        return Response(body, headers=headers)  # plain already: hundreds of documents


class AnswerOutput(serializers.Serializer[Answer]):
    """What came of one event."""

    id = serializers.UUIDField()
    state = serializers.ChoiceField(choices=["applied", "refused", "gap"])
    code = serializers.CharField(allow_blank=True)
    detail = serializers.CharField(allow_blank=True)
    expected_seq = serializers.IntegerField(allow_null=True)
    result = serializers.DictField(allow_null=True)
    version = serializers.IntegerField(
        allow_null=True,
        help_text="The site's count of changes with this event in it; none in answer to a gap.",
    )


class AnswersOutput(serializers.Serializer[Any]):
    """One answer an event, in the same order."""

    answers = AnswerOutput(many=True)
    epoch = serializers.CharField(
        help_text="As of a pull; another one than before: tell again what you kept, in its order."
    )


TOLD_BACK = {
    200: AnswersOutput,
    503: OpenApiResponse(
        description="Many phones are sending at once: send the same again after `Retry-After`"
    ),
}


def shown(answer: Answer) -> dict[str, Any]:
    """Give an answer as `AnswerOutput` does, plainly: there are fifty in a call."""
    return {
        "id": str(answer.id),
        "state": answer.state,
        "code": answer.code,
        "detail": answer.detail,
        "expected_seq": answer.expected_seq,
        "result": answer.result,
        "version": answer.version,
    }


class EventsView(APIView):
    """Where phones tell what happened."""

    crowded: CrowdedError | None = None

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Wait for one's turn first: before it, it is not even asked who calls.

        The body is received before the turn: a phone that stalls half way holds up nobody.
        """
        try:
            _received = request.body
        except RequestDataTooBig:
            pass  # the parser reads as much as it takes, and refuses it
        except UnreadablePostError:
            return HttpResponse(status=400)  # nobody is there any more
        try:
            with line.turn():
                return super().dispatch(request, *args, **kwargs)
        except CrowdedError as error:
            self.crowded = error
        response = super().dispatch(request, *args, **kwargs)
        response._has_been_logged = True  # type: ignore[attr-defined]  # Django's mark: no error
        return response

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Send away whoever has no turn."""
        if self.crowded is not None:
            raise self.crowded
        super().initial(request, *args, **kwargs)

    @extend_schema(request=EventsInput, responses=TOLD_BACK, operation_id="tell_events")
    def post(self, request: Request, slug: str) -> Response:
        """Take events; each is answered for itself, a repeat gets its first answer."""
        caller = caller_on(request.user, slug)
        told = read_events(request.data)
        with override(caller.language), revoked_is_401():
            answers = take_events(caller=caller, events=told, received_at=datetime.now(UTC))
        told_to = standing_of(caller.site.pk).epoch
        return Response({"answers": [shown(answer) for answer in answers], "epoch": told_to})


urlpatterns = [
    path("pair/", PairView.as_view(), name="api-pair"),
    path("sites/<slug:slug>/phone/token/", TokenView.as_view(), name="api-phone-token"),
    path("sites/<slug:slug>/pull/", PullView.as_view(), name="api-pull"),
    path("sites/<slug:slug>/events/", EventsView.as_view(), name="api-events"),
]
