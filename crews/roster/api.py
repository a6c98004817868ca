"""The API of the roster: who works when, who is here, which crew has which pens."""

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from crews.people.models import Worker
from equipment.site.rest import ListViewSet, ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import KeyField

from .models import CrewPens, Presence, Shift, ShiftPattern
from .services import call_in_sick, give_pens, mark_present


class ShiftOutput(serializers.ModelSerializer[Shift]):
    """One worker's shift on one local date."""

    worker_name = serializers.CharField(source="worker.name", read_only=True)

    class Meta:
        model = Shift
        exclude = ["site"]


class ShiftQuery(serializers.Serializer[Any]):
    """Which shifts."""

    local_date = serializers.DateField(required=False)
    worker = KeyField(required=False)
    presence = serializers.ChoiceField(choices=Presence.choices, required=False)


class ShiftViewSet(ReadViewSet[Shift]):
    """The roster."""

    queryset = Shift.objects.select_related("worker")
    serializer_class = ShiftOutput
    query = ShiftQuery
    lookups = {"local_date": "local_date", "worker": "worker_id", "presence": "presence"}


@extend_schema_field({"type": "string", "pattern": "^[0-2][0-9]:[0-5][0-9]$"})
class LocalTimeField(serializers.TimeField):
    """A time on the farm's own clock; RFC 3339's times have an offset, this has none."""

    def __init__(self) -> None:
        super().__init__(format="%H:%M", read_only=True)


class ShiftPatternOutput(serializers.ModelSerializer[ShiftPattern]):
    """A shift's local start and its length on an ordinary night."""

    starts_local = LocalTimeField()

    class Meta:
        model = ShiftPattern
        fields = ["id", "key", "name", "starts_local", "duration_min", "breaks"]


class ShiftPatternViewSet(ReadViewSet[ShiftPattern]):
    """Shifts of the day."""

    queryset = ShiftPattern.objects.filter(retired_at=None)
    serializer_class = ShiftPatternOutput


class CrewPensOutput(serializers.ModelSerializer[CrewPens]):
    """That a crew has a pen on a shift: always, or on one local date instead."""

    class Meta:
        model = CrewPens
        exclude = ["site"]


class CrewPensInput(serializers.Serializer[Any]):
    """Which crew has which pens on which shift; without a date from now on."""

    crew = KeyField()
    pattern = KeyField()
    pens = serializers.ListField(child=KeyField(), min_length=1, max_length=100)
    local_date = serializers.DateField(allow_null=True, default=None)


class GivenOutput(serializers.Serializer[Any]):
    """How many pens the crew was put on."""

    n_pens = serializers.IntegerField()


class CrewPensViewSet(ListViewSet[CrewPens]):
    """Which crew has which pens."""

    queryset = CrewPens.objects.all()
    serializer_class = CrewPensOutput

    @extend_schema(request=CrewPensInput, responses={201: GivenOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Put a crew on pens for a shift."""

        def give() -> Response:
            given = self.read(CrewPensInput)
            n_pens = give_pens(
                site_id=self.caller.site.pk,
                crew_id=given["crew"],
                pattern_id=given["pattern"],
                pen_ids=given["pens"],
                local_date=given["local_date"],
                at=self.now,
            )
            return Response({"n_pens": n_pens}, status=201)

        return self.once(give)


class HereInput(serializers.Serializer[Any]):
    """Whether the worker is here; no takes back what was marked by mistake."""

    is_here = serializers.BooleanField(default=True)


class PresenceViewSet(SiteViewSet[Worker]):
    """Who is here, and who is not coming."""

    queryset = Worker.objects.filter(retired_at=None)

    @extend_schema(request=None, responses=ShiftOutput)
    def sick(self, request: Request, slug: str, pk: int) -> Response:
        """Take a worker out of the running or next shift; the plan gives their work to others."""

        def call() -> Response:
            shift = call_in_sick(site_id=self.caller.site.pk, worker_id=pk, at=self.now)
            return Response(ShiftOutput(shift).data)

        return self.once(call)

    @extend_schema(request=HereInput, responses=ShiftOutput)
    def here(self, request: Request, slug: str, pk: int) -> Response:
        """Say that a worker is here for the running shift."""

        def mark() -> Response:
            is_here = self.read(HereInput)["is_here"]
            shift = mark_present(
                site_id=self.caller.site.pk, worker_id=pk, at=self.now, is_here=is_here
            )
            return Response(ShiftOutput(shift).data)

        return self.once(mark)


def _presence(verb: str) -> Any:
    view = PresenceViewSet.as_view({"post": verb})
    return path(f"sites/<slug:slug>/workers/<key:pk>/{verb}/", view, name=f"api-workers-{verb}")


urlpatterns = [
    *site_routes(
        {
            "shifts": ShiftViewSet,
            "shift-patterns": ShiftPatternViewSet,
            "crew-pens": CrewPensViewSet,
        }
    ),
    _presence("sick"),
    _presence("here"),
]
