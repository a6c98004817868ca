"""The API of flushing: runs, checks, locks. A lock recorded stops no valve: isolate first."""

from typing import Any

from django.urls import URLPattern, URLResolver, path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import InstantField, KeyField, PlaceRef, SaidInput, WhoField

from .checks import flush_checks
from .models import FlushRun, FlushTimer, Lock, RunStatus
from .services import put_lock, take_off_lock


class LockOutput(serializers.ModelSerializer[Lock]):
    """Isolation recorded by the person exposed."""

    place = PlaceRef(read_only=True)
    owner = WhoField()
    is_mine = serializers.SerializerMethodField()
    off_by = WhoField(allow_null=True)

    class Meta:
        model = Lock
        exclude = ["site"]

    def get_is_mine(self, lock: Lock) -> bool:
        """Say whether the caller put it on."""
        return bool(lock.owner_id == self.context["caller"].actor.pk)


class LockInput(SaidInput):
    """What is isolated: a place, and what there in words."""

    place = KeyField()
    what = serializers.CharField(max_length=200, allow_blank=True, default="")


class OffInput(SaidInput):
    """A lead who is not the owner writes how the absent-owner procedure was followed."""

    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class LockQuery(serializers.Serializer[Any]):
    """Which locks."""

    is_on = serializers.BooleanField(required=False)
    place = KeyField(required=False)


class LockViewSet(ReadViewSet[Lock]):
    """Locks that are on, or were."""

    queryset = Lock.objects.select_related("place", "owner", "off_by")
    serializer_class = LockOutput
    query = LockQuery
    lookups = {"is_on": "off_at__isnull", "place": "place_id"}
    roles = {"create": EVERYONE, "off": EVERYONE}
    made_at = {"create": "api-locks-detail"}

    @extend_schema(request=LockInput, responses={201: LockOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Record the caller's own lock. It stops no valve: isolate first."""

        def put() -> Response:
            said = self.said(LockInput)
            lock = put_lock(place_id=said.pop("place"), received_at=self.now, **said)
            return Response(self.shown(lock), status=201)

        return self.once(put)

    @extend_schema(request=OffInput, responses=LockOutput)
    @action(detail=True, methods=["post"])
    def off(self, request: Request, slug: str, pk: int) -> Response:
        """Take a lock off: one's own, or as a lead with a note."""
        return self.once(
            lambda: Response(
                self.shown(
                    take_off_lock(
                        lock_id=pk,
                        is_lead=self.caller.is_lead,
                        received_at=self.now,
                        **self.said(OffInput),
                    )
                )
            )
        )


class FlushRunOutput(serializers.ModelSerializer[FlushRun]):
    """One planned opening of a valve; `done` is taken for granted, since no valve reports back."""

    alley = PlaceRef(source="alley.place", read_only=True)
    tank = PlaceRef(source="timer.tank.place", read_only=True)

    class Meta:
        model = FlushRun
        exclude = ["site", "natural_key"]


class FlushRunQuery(serializers.Serializer[Any]):
    """Which runs."""

    starts_from = InstantField(required=False)
    starts_before = InstantField(required=False)
    status = serializers.ChoiceField(RunStatus.choices, required=False)


class FlushRunViewSet(ListViewSet[FlushRun]):
    """Flush runs: when, how much, what they wait for or lack."""

    queryset = FlushRun.objects.select_related("alley__place", "timer__tank__place")
    serializer_class = FlushRunOutput
    query = FlushRunQuery
    lookups = {
        "starts_from": "starts_at__gte",
        "starts_before": "starts_at__lt",
        "status": "status",
    }


class ShortfallOutput(serializers.Serializer[Any]):
    """In what a flush falls short: velocity [m/s], depth [m] or time open [s]."""

    code = serializers.CharField()
    value = serializers.FloatField()
    limit = serializers.FloatField()


class FlushCheckOutput(serializers.Serializer[Any]):
    """A timer's flush by steady flow, against practice; a wave is beyond that equation."""

    timer = serializers.CharField(source="timer.key")
    alley = PlaceRef(source="timer.alley.place")
    depth_m = serializers.FloatField(source="flush.depth_m")
    velocity_m_s = serializers.FloatField(source="flush.velocity_m_s")
    chezy_velocity_m_s = serializers.FloatField(source="flush.chezy_velocity_at_practice_m_s")
    volume_m3 = serializers.FloatField(source="flush.volume_m3")
    travel_s = serializers.FloatField(source="flush.travel_s")
    is_wave = serializers.BooleanField(source="flush.is_wave")
    regime = serializers.CharField()
    shortfalls = ShortfallOutput(many=True)


class FlushChecksOutput(serializers.Serializer[Any]):
    """Every timer in use."""

    checks = FlushCheckOutput(many=True)


class FlushCheckViewSet(SiteViewSet[FlushTimer]):
    """Flushes against practice."""

    queryset = FlushTimer.objects.all()
    tagged = ("checks",)

    @extend_schema(responses=FlushChecksOutput)
    def checks(self, request: Request, slug: str) -> Response:
        """Say depth, velocity and volume of each timer's flush, and in what it falls short."""
        found = {"checks": flush_checks(self.caller.site.pk)}
        data = FlushChecksOutput(found, context=self.get_serializer_context()).data
        return answer_tagged(request, data, etag_of_data(data))


urlpatterns: list[URLPattern | URLResolver] = [
    *site_routes({"locks": LockViewSet, "flush-runs": FlushRunViewSet}),
    path(
        "sites/<slug:slug>/flush-checks/",
        FlushCheckViewSet.as_view({"get": "checks"}),
        name="api-flush-checks",
    ),
]
