"""The phone's API: pair, carry the work, tell what happened."""

from datetime import UTC, datetime
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import override
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from crews.devices.services import pair
from equipment.site.callers import caller_on
from equipment.site.errors import NotFoundError
from equipment.site.restfields import BIGGEST_KEY, OffsetDateTimeField

from .handlers import worker_of
from .intake import MAX_EVENTS, Answer, Told, take_events
from .queries import parcel_for


class PairInput(serializers.Serializer[Any]):
    """The code a lead showed."""

    code = serializers.CharField(max_length=20)


class PairOutput(serializers.Serializer[Any]):
    """The phone's token, told once, and whom it stands for."""

    token = serializers.CharField()
    site = serializers.SlugField()
    site_name = serializers.CharField()
    worker = serializers.CharField()
    language = serializers.CharField()


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
            "worker": device.worker.name,
            "language": device.worker.language,
        }
        return Response(body, status=201)


class NamedThing(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()


class Waiting(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()


class JobOutput(serializers.Serializer[Any]):
    """One job of the person, in their language."""

    id = serializers.IntegerField()
    title = serializers.CharField()
    place = serializers.CharField()
    place_id = serializers.IntegerField()
    amount = serializers.CharField()
    n_stalls = serializers.IntegerField(allow_null=True)
    starts_after = serializers.DateTimeField()
    due_at = serializers.DateTimeField()
    planned_start = serializers.DateTimeField()
    planned_end = serializers.DateTimeField()
    status = serializers.CharField()
    outcome = serializers.CharField()
    n_left = serializers.IntegerField(allow_null=True)
    loads = serializers.IntegerField()
    counts_loads = serializers.BooleanField()
    goes_to = serializers.CharField(help_text="Kind of place that sand goes to, or nothing.")
    batch = serializers.IntegerField(allow_null=True)
    how = serializers.CharField()
    caution = serializers.CharField()
    needs_lock = serializers.BooleanField()
    is_locked = serializers.BooleanField(
        help_text="Whether the person's own locks keep water from the place."
    )
    machine = NamedThing(allow_null=True)
    waiting_on = Waiting(many=True)


class CarriedMachine(NamedThing):
    kind = serializers.CharField()
    is_held = serializers.BooleanField()
    meter_h = serializers.FloatField(allow_null=True)
    read_at = serializers.DateTimeField(allow_null=True)


class CheckLine(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kind = serializers.CharField()
    text = serializers.CharField()
    is_safety = serializers.BooleanField()


class CarriedPlace(NamedThing):
    kind = serializers.CharField()


class CarriedLock(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    place = serializers.CharField()
    owner = serializers.CharField()
    on_at = serializers.DateTimeField()
    is_mine = serializers.BooleanField()


class CarriedVisit(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    pen = serializers.CharField()
    called_at = serializers.DateTimeField()
    last_out_at = serializers.DateTimeField()
    first_back_at = serializers.DateTimeField()
    last_back_at = serializers.DateTimeField()
    said = serializers.ListField(child=serializers.CharField())


class Person(NamedThing):
    language = serializers.CharField()


class ParcelOutput(serializers.Serializer[Any]):
    """All that a phone carries for a shift without signal."""

    now = serializers.DateTimeField()
    version = serializers.IntegerField()
    worker = Person()
    jobs = JobOutput(many=True)
    machines = CarriedMachine(many=True)
    checks = CheckLine(many=True)
    places = CarriedPlace(many=True)
    sand_places = CarriedPlace(many=True)
    locks = CarriedLock(many=True)
    visits = CarriedVisit(many=True)


class ParcelView(APIView):
    """The work of the person who asks."""

    @extend_schema(responses=ParcelOutput, operation_id="my_work")
    def get(self, request: Request, slug: str) -> Response:
        """Give the next 36 hours of the caller's jobs and what they need."""
        caller = caller_on(request.user, slug)
        with override(caller.language):
            worker = worker_of(caller)
            if worker is None:
                raise NotFoundError(_("This account is no worker of the site: pair a phone."))
            parcel = parcel_for(caller, worker, datetime.now(UTC))
        return Response(ParcelOutput(parcel).data)


class EventInput(serializers.Serializer[Any]):
    """One event: made on the phone, with the phone's own time and sequence."""

    id = serializers.UUIDField()
    kind = serializers.CharField(max_length=40)
    payload = serializers.DictField()
    client_at = OffsetDateTimeField()
    seq = serializers.IntegerField(
        min_value=1, max_value=BIGGEST_KEY, required=False, allow_null=True
    )
    schema_version = serializers.IntegerField(min_value=1, max_value=100, default=1)


class EventsInput(serializers.Serializer[Any]):
    """Up to 50 events, in the order they were made."""

    events = serializers.ListField(
        child=EventInput(), min_length=1, max_length=MAX_EVENTS, allow_empty=False
    )


class AnswerOutput(serializers.Serializer[Answer]):
    """What came of one event."""

    id = serializers.UUIDField()
    state = serializers.ChoiceField(choices=["applied", "refused", "gap"])
    code = serializers.CharField(allow_blank=True)
    detail = serializers.CharField(allow_blank=True)
    expected_seq = serializers.IntegerField(allow_null=True)
    result = serializers.DictField(allow_null=True)


class AnswersOutput(serializers.Serializer[Any]):
    """One answer an event, in the same order."""

    answers = AnswerOutput(many=True)


class EventsView(APIView):
    """Where phones tell what happened."""

    @extend_schema(request=EventsInput, responses=AnswersOutput, operation_id="tell_events")
    def post(self, request: Request, slug: str) -> Response:
        """Take events; each is answered for itself, a repeat gets its first answer."""
        caller = caller_on(request.user, slug)
        form = EventsInput(data=request.data)
        form.is_valid(raise_exception=True)
        told = [Told(**event) for event in form.validated_data["events"]]
        with override(caller.language):
            answers = take_events(caller=caller, events=told, received_at=datetime.now(UTC))
        return Response(AnswersOutput({"answers": answers}).data)


urlpatterns = [
    path("pair/", PairView.as_view(), name="api-pair"),
    path("sites/<slug:slug>/my-work/", ParcelView.as_view(), name="api-my-work"),
    path("sites/<slug:slug>/events/", EventsView.as_view(), name="api-events"),
]
