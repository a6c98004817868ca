"""The API of calendars: which there are, making a link, ending it."""

from __future__ import annotations

from typing import Any

from django.utils.crypto import salted_hmac
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.models import LEADS
from equipment.site.rest import ListViewSet, site_routes
from equipment.site.restfields import KeyField, SaidInput

from .contents import subject_of
from .feed import link_of
from .models import Calendar, CalendarKind
from .services import end_link, make_link


class CalendarOutput(serializers.ModelSerializer[Calendar]):
    """A calendar; its link is told to whoever makes it and to nobody after."""

    subject = serializers.SerializerMethodField()
    has_link = serializers.SerializerMethodField()

    class Meta:
        model = Calendar
        fields = ["id", "kind", "subject", "has_link", "made_at", "read_at"]

    def get_subject(self, calendar: Calendar) -> int:
        """The key of the person, crew, machine or pad."""
        return int(subject_of(calendar).pk)

    def get_has_link(self, calendar: Calendar) -> bool:
        """Whether somebody may read it."""
        return bool(calendar.token_hash)


class CalendarInput(serializers.Serializer[Any]):
    """Whose calendar it is."""

    kind = serializers.ChoiceField(choices=CalendarKind.choices)
    subject = KeyField()


class LinkOutput(CalendarOutput):
    """A calendar and its new link."""

    url = serializers.URLField()

    class Meta(CalendarOutput.Meta):
        fields = [*CalendarOutput.Meta.fields, "url"]


class CalendarViewSet(ListViewSet[Calendar]):
    """Calendars (RFC 5545) that people subscribe to, read-only, by a secret link."""

    queryset = Calendar.objects.select_related("worker", "crew", "machine", "pad__place")
    serializer_class = CalendarOutput
    roles = {"create": LEADS, "end": LEADS}
    is_of_state = False  # when it was read last moves by itself

    @extend_schema(request=CalendarInput, responses={201: LinkOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Make a link to a calendar; the link made before ends.

        The secret follows from the call's Idempotency-Key, so that a repeat tells it again though
        it is kept nowhere.
        """
        asked = self.read(CalendarInput)
        token = self._token(asked)

        def make() -> Response:
            calendar = make_link(
                site_id=self.caller.site.pk,
                kind=CalendarKind(asked["kind"]),
                subject_id=asked["subject"],
                token=token,
                by=self.caller.actor,
                at=self.now,
            )
            return Response(self.shown(calendar), status=201)

        answer = self.once(make)
        return Response({**answer.data, "url": link_of(answer.data["id"], token)}, status=201)

    def _token(self, asked: dict[str, Any]) -> str:
        key = self.request.headers.get("Idempotency-Key", "")
        said = f"{self.caller.site.pk} {self.caller.actor.pk} {asked} {key}"
        return salted_hmac("penround.calendar", said, algorithm="sha256").hexdigest()

    @extend_schema(request=SaidInput, responses=CalendarOutput)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, slug: str, pk: int) -> Response:
        """End the calendar's link at once."""

        def stop() -> Response:
            at = self.read(SaidInput)["at"]
            end_link(site_id=self.caller.site.pk, calendar_id=pk, at=at)
            return Response(self.shown(self.get_object()))

        return self.once(stop)


urlpatterns = site_routes({"calendars": CalendarViewSet})
