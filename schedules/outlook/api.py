"""The API of the year ahead: ask for one, follow it, stop it, read it; and of the sand supply."""

from __future__ import annotations

import math
from typing import Any

from django.db.models import QuerySet
from django.urls import URLPattern, URLResolver, path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import ReadViewSet, SiteViewSet, site_routes
from equipment.site.restfields import FiniteField

from . import services
from .models import OutlookRun
from .queries import runs_of
from .supply import SandSupply, sand_supply
from .supply_facts import ResidenceSource


class YearAheadOutput(serializers.ModelSerializer[OutlookRun]):
    """A year ahead: its inputs, seed and code version, how far it is, and what came of it."""

    n_parts = serializers.IntegerField(read_only=True)
    n_parts_done = serializers.IntegerField(read_only=True)
    result = serializers.DictField(read_only=True, allow_null=True)

    class Meta:
        model = OutlookRun
        fields = [
            "id",
            "made_at",
            "state",
            "seed",
            "n_members",
            "n_parts",
            "n_parts_done",
            "inputs",
            "inputs_hash",
            "code_version",
            "libraries",
            "result",
            "digest",
            "error",
            "finished_at",
        ]


class ChangeInput(serializers.Serializer[Any]):
    """One change of the farm to compare with; what is left out stays as it is."""

    cure_d = serializers.IntegerField(min_value=0, max_value=365, required=False)
    turns_per_d = serializers.IntegerField(min_value=0, max_value=6, required=False)
    recovery_frac = FiniteField(min_value=0, max_value=1, required=False)
    rain_factor = FiniteField(min_value=0, max_value=10, required=False)
    more_cows_frac = FiniteField(min_value=-0.9, max_value=1, required=False)
    without_pad = serializers.SlugField(max_length=80, required=False)


class YearAheadInput(serializers.Serializer[Any]):
    """How many members, from which seed, and compared with what."""

    n_members = serializers.IntegerField(min_value=2, max_value=10_000, default=services.MEMBERS)
    seed = serializers.IntegerField(min_value=0, max_value=2**62, required=False)
    change = ChangeInput(required=False)


class AskedOutput(serializers.Serializer[Any]):
    """That it was asked for, and the seed that it will have."""

    seed = serializers.IntegerField()


class YearAheadViewSet(ReadViewSet[OutlookRun]):
    """Years ahead, newest first."""

    queryset = OutlookRun.objects.all()
    serializer_class = YearAheadOutput
    stamps = ("changed_at", "chunks__changed_at")
    made_at = {"create": "api-year-ahead-list"}

    def get_queryset(self) -> QuerySet[OutlookRun]:
        """Give those of the caller's site."""
        return runs_of(self.caller.site.pk)

    @extend_schema(request=YearAheadInput, responses={202: AskedOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Ask for a year ahead; it is reckoned in the background."""

        def ask() -> Response:
            seed = services.ask_year(**self.said(YearAheadInput), at=self.now)
            return Response({"seed": seed}, status=202)

        return self.once(ask)

    @extend_schema(request=None, responses=YearAheadOutput)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, slug: str, pk: str) -> Response:
        """Let it rest after the part it is at."""
        return self._turn(services.stop_run)

    @extend_schema(request=None, responses=YearAheadOutput)
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, slug: str, pk: str) -> Response:
        """Go on with one that was stopped."""
        return self._turn(services.resume_run)

    def _turn(self, verb: Any) -> Response:
        def do() -> Response:
            run = self.get_object()
            verb(site_id=self.caller.site.pk, run_id=run.pk, at=self.now)
            return Response(self.shown(self.get_object()))

        return self.once(do)


class EndlessField(serializers.FloatField):
    """A number that may be endless: null."""

    def to_representation(self, value: Any) -> float | None:  # type: ignore[override]
        """Give null for what is not in sight."""
        return float(value) if math.isfinite(value) else None


class RangeOutput(serializers.Serializer[Any]):
    """Of ten chances one below `low` and one above `high`; null is not in sight."""

    low = EndlessField(allow_null=True)
    likely = EndlessField(allow_null=True)
    high = EndlessField(allow_null=True)


class PlacesNeededOutput(serializers.Serializer[Any]):
    """Places that a steady day of this month keeps in use: loads a day by days of each."""

    needed = RangeOutput()
    residence_d = RangeOutput()
    n_there = serializers.IntegerField()


class PurchaseOutput(serializers.Serializer[Any]):
    """What to buy so that at most one in ten members falls below the safety stock."""

    order_d = serializers.IntegerField(allow_null=True, help_text="0 is today.")
    first_d = serializers.IntegerField(allow_null=True)
    n_trucks = serializers.ListField(child=serializers.IntegerField(), help_text="By the day.")
    truck_kg = serializers.FloatField()
    lead_d = serializers.IntegerField()
    below_frac = serializers.FloatField()
    below_unbought_frac = serializers.FloatField()


class BatchShareOutput(serializers.Serializer[Any]):
    """So much of a batch."""

    batch = serializers.IntegerField(source="batch_id")
    number = serializers.IntegerField()
    dry_kg = serializers.FloatField()


class PenTurnOutput(serializers.Serializer[Any]):
    """What a pen's beds have lost since they last got sand, and from which batches it comes."""

    pen = serializers.IntegerField(source="pen_id")
    since_d = serializers.IntegerField(allow_null=True, help_text="Null: none in four weeks.")
    lost_kg = serializers.FloatField()
    batches = BatchShareOutput(many=True)


class SandSupplyOutput(serializers.Serializer[SandSupply]):
    """How long ready sand lasts, what to buy and when, and the places a steady day needs.

    `stock_kg` is the balance before any purchase: the tenth, the middle and the ninetieth of a
    hundred at the end of each day from `start_on` on.
    """

    start_on = serializers.DateField(source="ahead.start_on")
    opening_kg = serializers.FloatField(source="ahead.opening_kg")
    safety_kg = serializers.FloatField(source="ahead.safety_kg")
    stock_kg = serializers.ListField(
        source="ahead.bands_kg",
        child=serializers.ListField(child=serializers.FloatField()),
    )
    days_d = RangeOutput()
    purchase = PurchaseOutput(allow_null=True)
    use_kg_d = RangeOutput()
    recovered_kg_d = RangeOutput()
    make_up_kg_d = RangeOutput()
    bays = PlacesNeededOutput(allow_null=True)
    piles = PlacesNeededOutput(allow_null=True)
    residence_source = serializers.ChoiceField(
        source="residence.source", choices=[source.value for source in ResidenceSource]
    )
    recovery_frac = serializers.FloatField(source="recovery.frac")
    is_recovery_measured = serializers.BooleanField(source="recovery.is_measured")
    later_kg = serializers.FloatField(help_text="Of batches that are ready after these days.")
    held_kg = serializers.FloatField()
    pens = PenTurnOutput(many=True, help_text="Longest without sand first.")


class SandSupplyViewSet(SiteViewSet[OutlookRun]):
    """The supply of sand."""

    queryset = OutlookRun.objects.all()
    tagged = ("supply",)

    @extend_schema(responses=SandSupplyOutput)
    def supply(self, request: Request, slug: str) -> Response:
        """Say how long sand lasts, what to buy and when, and what places it needs."""
        data = SandSupplyOutput(sand_supply(self.caller.site, self.now)).data
        return answer_tagged(request, data, etag_of_data(data))


urlpatterns: list[URLPattern | URLResolver] = [
    *site_routes({"year-ahead": YearAheadViewSet}),
    path(
        "sites/<slug:slug>/sand-supply/",
        SandSupplyViewSet.as_view({"get": "supply"}),
        name="api-sand-supply",
    ),
]
