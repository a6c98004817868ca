"""The API of flushing: locks. A lock recorded here stops no valve: isolate first."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.rest import EVERYONE, ReadViewSet, site_routes
from equipment.site.restfields import KeyField, PlaceRef, SaidInput, WhoField

from .models import Lock
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


urlpatterns = site_routes({"locks": LockViewSet})
