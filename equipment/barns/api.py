"""The API of the barns: pens with their beds, and alleys."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.api import HoldOutput
from equipment.site.models import HoldSubject
from equipment.site.rest import ReadViewSet, site_routes
from equipment.site.restfields import KeyField, PlaceRef, ReasonInput
from equipment.site.services import put_hold

from .models import Alley, BedGroup, Pen, PenKind


class BedGroupOutput(serializers.ModelSerializer[BedGroup]):
    """A row of stalls groomed as one."""

    place = PlaceRef(read_only=True)

    class Meta:
        model = BedGroup
        fields = ["place", "n_stalls", "is_far_row", "alley"]


class PenOutput(serializers.ModelSerializer[Pen]):
    """A group of cows and its beds."""

    id = serializers.IntegerField(source="pk", read_only=True)
    place = PlaceRef(read_only=True)
    bed_groups = BedGroupOutput(many=True, read_only=True)
    alleys = serializers.PrimaryKeyRelatedField[Alley](many=True, read_only=True)

    class Meta:
        model = Pen
        fields = [
            "id",
            "place",
            "kind",
            "n_cows",
            "walk_m",
            "clear_min",
            "milking_rank",
            "return_mode",
            "return_hold_min",
            "bed_groups",
            "alleys",
        ]


class PenQuery(serializers.Serializer[Any]):
    """Which pens."""

    kind = serializers.ChoiceField(choices=PenKind.choices, required=False)


class PenViewSet(ReadViewSet[Pen]):
    """Pens of the farm."""

    queryset = Pen.objects.select_related("place").prefetch_related("bed_groups__place", "alleys")
    serializer_class = PenOutput
    query = PenQuery
    lookups = {"kind": "kind"}
    made_at = {"hold": "api-holds-detail"}
    stamps = ("changed_at", "bed_groups__changed_at", "alleys__changed_at")

    @extend_schema(request=ReasonInput, responses={201: HoldOutput})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, slug: str, pk: int) -> Response:
        """Take a pen out of the plan; the same reason again changes nothing."""
        pen = self.get_object()

        def put() -> Response:
            hold = put_hold(
                subject_kind=HoldSubject.PEN, subject_id=pen.pk, **self.said(ReasonInput)
            )
            return Response(HoldOutput(hold).data, status=201)

        return self.once(put)


class AlleyOutput(serializers.ModelSerializer[Alley]):
    """The lane a flush washes."""

    id = serializers.IntegerField(source="pk", read_only=True)
    place = PlaceRef(read_only=True)

    class Meta:
        model = Alley
        fields = ["id", "place", "pen", "length_m", "width_m", "slope_frac"]


class AlleyQuery(serializers.Serializer[Any]):
    """Which alleys."""

    pen = KeyField(required=False)


class AlleyViewSet(ReadViewSet[Alley]):
    """Alleys of the farm."""

    queryset = Alley.objects.select_related("place")
    serializer_class = AlleyOutput
    query = AlleyQuery
    lookups = {"pen": "pen_id"}


urlpatterns = site_routes({"pens": PenViewSet, "alleys": AlleyViewSet})
