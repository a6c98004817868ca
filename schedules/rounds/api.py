"""The API of the day's clock: milkings, each pen's visit, and the windows of its beds."""

from typing import Any

from django.db.models import Prefetch
from django.urls import URLPattern, URLResolver
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.models import LEADS
from equipment.site.rest import EVERYONE, ReadViewSet, site_routes
from equipment.site.restfields import InstantField, KeyField, PlaceRef, SaidInput

from .clock import MOMENTS
from .models import BedWindow, Milking, MilkingState, PenVisit
from .parlor_api import parlor_routes
from .services import end_milking, foretell_visit, record_visit_time, start_milking


class MilkingOutput(serializers.ModelSerializer[Milking]):
    """One pass of all milked pens through the parlor."""

    class Meta:
        model = Milking
        exclude = ["site"]


class WindowOutput(serializers.ModelSerializer[BedWindow]):
    """When a row of beds is empty of cows, and the part of it that work may use."""

    class Meta:
        model = BedWindow
        fields = ["bed_group", "opens_at", "closes_at", "usable_from", "usable_until"]


class VisitOutput(serializers.ModelSerializer[PenVisit]):
    """A pen's turn in a milking: as expected until `actual` says what happened."""

    place = PlaceRef(source="pen.place", read_only=True)
    windows = WindowOutput(many=True, read_only=True)

    class Meta:
        model = PenVisit
        exclude = ["site"]


class MilkingQuery(serializers.Serializer[Any]):
    """Which milkings."""

    local_date = serializers.DateField(required=False)
    state = serializers.ChoiceField(choices=MilkingState.choices, required=False)


class MilkingViewSet(ReadViewSet[Milking]):
    """Milkings; their visits are a list of their own."""

    queryset = Milking.objects.all()
    serializer_class = MilkingOutput
    query = MilkingQuery
    lookups = {"local_date": "local_date", "state": "state"}

    @extend_schema(request=SaidInput, responses=MilkingOutput)
    @action(detail=True, methods=["post"])
    def start(self, request: Request, slug: str, pk: int) -> Response:
        """Say that the first cow stepped on; the rest is timed anew from there."""
        return self.once(
            lambda: Response(
                self.shown(
                    start_milking(milking_id=pk, received_at=self.now, **self.said(SaidInput))
                )
            )
        )

    @extend_schema(request=SaidInput, responses=MilkingOutput)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, slug: str, pk: int) -> Response:
        """Say that the last cow left the deck."""
        return self.once(
            lambda: Response(
                self.shown(end_milking(milking_id=pk, received_at=self.now, **self.said(SaidInput)))
            )
        )


class MomentInput(SaidInput):
    """Where a pen's cows are in its visit."""

    moment = serializers.ChoiceField(choices=list(MOMENTS))


class ForetellInput(SaidInput):
    """When a moment of a visit will come; without both, what was foretold is taken back."""

    moment = serializers.ChoiceField(choices=list(MOMENTS), required=False)
    expected_at = InstantField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """One without the other would take back what was foretold."""
        missing = {"moment", "expected_at"} - attrs.keys()
        if len(missing) == 1:
            raise serializers.ValidationError(
                dict.fromkeys(missing, _("Give both the moment and its time, or neither."))
            )
        return attrs


class VisitQuery(serializers.Serializer[Any]):
    """Which visits."""

    local_date = serializers.DateField(required=False)
    milking = KeyField(required=False)
    pen = KeyField(required=False)


class VisitViewSet(ReadViewSet[PenVisit]):
    """Pens' visits to the parlor, with the windows of their beds."""

    queryset = PenVisit.objects.select_related("pen__place").prefetch_related(
        Prefetch("windows", BedWindow.objects.order_by("bed_group_id"))
    )
    serializer_class = VisitOutput
    query = VisitQuery
    lookups = {"local_date": "milking__local_date", "milking": "milking_id", "pen": "pen_id"}
    roles = {"moments": EVERYONE, "foretell": LEADS}
    stamps = ("changed_at", "windows__changed_at")

    @extend_schema(request=ForetellInput, responses=VisitOutput)
    @action(detail=True, methods=["post"])
    def foretell(self, request: Request, slug: str, pk: int) -> Response:
        """Say when a moment of the visit will come; the rest of its milking is expected by it."""

        def tell() -> Response:
            said = {"moment": None, "expected_at": None, **self.said(ForetellInput)}
            foretell_visit(visit_id=pk, **said)
            return Response(self.shown(self.get_object()))

        return self.once(tell)

    @extend_schema(request=MomentInput, responses=VisitOutput)
    @action(detail=True, methods=["post"])
    def moments(self, request: Request, slug: str, pk: int) -> Response:
        """Say when a moment of the visit happened; the rest of its milking follows."""

        def record() -> Response:
            said = self.said(MomentInput)
            record_visit_time(visit_id=pk, received_at=self.now, **said)
            return Response(self.shown(self.get_object()))

        return self.once(record)


urlpatterns: list[URLPattern | URLResolver] = [
    *site_routes({"milkings": MilkingViewSet, "pen-visits": VisitViewSet}),
    *parlor_routes,
]
