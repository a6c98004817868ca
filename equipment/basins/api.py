"""The API of basins: levels, gates, clean-outs, analyses, and what fields were given.

Nothing here says that a basin or its air is fit to enter; local rules govern what may be spread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.db.models import Model
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.models import LEADS
from equipment.site.rest import EVERYONE, ListViewSet, ReadViewSet, site_routes
from equipment.site.restfields import FiniteField, KeyField, PlaceRef, SaidInput, WhoField

from .filling import BasinView, basins_view
from .models import (
    Basin,
    BasinCleanOut,
    CropField,
    FieldApplication,
    GateSwitch,
    LevelReading,
    ManureAnalysis,
)
from .services import (
    record_analysis,
    record_application,
    record_clean_out,
    record_level,
    switch_gate,
)

CONTENTS = ("n_kg_t", "nh4_n_kg_t", "no3_n_kg_t", "p2o5_kg_t", "k2o_kg_t")
MOST_KG = 10_000_000


class LevelOutput(serializers.ModelSerializer[LevelReading]):
    """Depth by the marker."""

    by = WhoField()

    class Meta:
        model = LevelReading
        exclude = ["site"]


class BasinOutput(serializers.Serializer[Any]):
    """A basin as it stands; days to its line in the earliest, middle and latest tenth of runs.

    Null days lie beyond the horizon; an empty list says that nothing could be projected.
    """

    id = serializers.IntegerField(source="basin.pk")
    place = PlaceRef(source="basin.place")
    stage = serializers.CharField(source="basin.stage")
    pair = serializers.CharField(source="basin.pair")
    is_filling = serializers.BooleanField()
    depth_m = serializers.FloatField(source="basin.depth_m")
    must_act_depth_m = serializers.FloatField(source="basin.must_act_depth_m")
    level = LevelOutput(source="reading", allow_null=True)
    n_members = serializers.IntegerField()
    days_to_line_d = serializers.SerializerMethodField()
    days_to_line_storm_d = serializers.SerializerMethodField()

    def get_days_to_line_d(self, view: BasinView) -> list[float | None]:
        """Without a storm."""
        return _finite(view.days_d)

    def get_days_to_line_storm_d(self, view: BasinView) -> list[float | None]:
        """With the design storm kept free."""
        return _finite(view.days_storm_d or ())


def _finite(days: Sequence[float]) -> list[float | None]:
    return [None if number == float("inf") else number for number in days]


class DepthInput(SaidInput):
    """A depth at the marker."""

    depth_m = FiniteField(min_value=0, max_value=20)


class CleanOutInput(SaidInput):
    """The depth that was left."""

    depth_after_m = FiniteField(min_value=0, max_value=20)
    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class CleanOutOutput(serializers.ModelSerializer[BasinCleanOut]):
    """A basin emptied down to a depth."""

    by = WhoField()

    class Meta:
        model = BasinCleanOut
        exclude = ["site"]


class SwitchOutput(serializers.ModelSerializer[GateSwitch]):
    """A gate opened and those of its pair shut."""

    by = WhoField()

    class Meta:
        model = GateSwitch
        exclude = ["site"]


class AnalysisOutput(serializers.ModelSerializer[ManureAnalysis]):
    """A laboratory's sheet of a basin's manure, per tonne as it lies."""

    by = WhoField()

    class Meta:
        model = ManureAnalysis
        exclude = ["site"]


class AnalysisInput(SaidInput):
    """What the sheet says."""

    basin = KeyField()
    sampled_on = serializers.DateField()
    n_kg_t = FiniteField(min_value=0, max_value=1000)
    nh4_n_kg_t = FiniteField(min_value=0, max_value=1000)
    no3_n_kg_t = FiniteField(min_value=0, max_value=1000, default=0.0)
    p2o5_kg_t = FiniteField(min_value=0, max_value=1000)
    k2o_kg_t = FiniteField(min_value=0, max_value=1000)


class FieldOutput(serializers.ModelSerializer[CropField]):
    """A field that takes manure."""

    class Meta:
        model = CropField
        exclude = ["site", "retired_at"]


class ApplicationOutput(serializers.ModelSerializer[FieldApplication]):
    """Manure brought to a field, with its nutrients by the analysis used."""

    by = WhoField()

    class Meta:
        model = FieldApplication
        exclude = ["site"]


class ApplicationInput(SaidInput):
    """What was brought: its mass or its volume."""

    field = KeyField()
    basin = KeyField()
    applied_on = serializers.DateField()
    mass_kg = FiniteField(min_value=0, max_value=MOST_KG, required=False)
    volume_m3 = FiniteField(min_value=0, max_value=MOST_KG / 1000, required=False)
    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class BasinViewSet(ReadViewSet[Basin]):
    """Basins in use."""

    queryset = Basin.objects.filter(place__retired_at=None).select_related("place")
    serializer_class = BasinOutput
    roles = {"level": EVERYONE, "gate": LEADS, "clean_out": LEADS}
    is_of_state = False  # days to the line are counted from now
    stamps = (
        "changed_at",
        "levels__changed_at",
        "outlook__changed_at",
        "switches__changed_at",
        "clean_outs__changed_at",
    )

    def viewed(self, rows: Sequence[Basin]) -> Sequence[BasinView]:
        """Add levels and what is projected: 11 queries for any number of rows."""
        views = {v.basin.pk: v for v in basins_view(self.caller.site.pk, self.now).basins}
        return [views[row.pk] for row in rows]

    def _add(self, form: type[SaidInput], verb: Callable[..., Model], shape: type[Any]) -> Response:
        basin = self.get_object()

        def do() -> Response:
            added = verb(basin_id=basin.pk, **self.said(form))
            shown = shape(added, context=self.get_serializer_context()).data
            return Response(shown, status=201)

        return self.once(do)

    @extend_schema(request=DepthInput, responses={201: LevelOutput})
    @action(detail=True, methods=["post"])
    def level(self, request: Request, slug: str, pk: int) -> Response:
        """Add a depth read at the marker; what is projected begins from it."""
        return self._add(DepthInput, record_level, LevelOutput)

    @extend_schema(request=SaidInput, responses={201: SwitchOutput})
    @action(detail=True, methods=["post"])
    def gate(self, request: Request, slug: str, pk: int) -> Response:
        """Record that the gate was switched to this basin; it moves no gate."""
        return self._add(SaidInput, switch_gate, SwitchOutput)

    @extend_schema(request=CleanOutInput, responses={201: CleanOutOutput})
    @action(detail=True, methods=["post"], url_path="clean-out")
    def clean_out(self, request: Request, slug: str, pk: int) -> Response:
        """Record that the basin was emptied down to a depth."""
        return self._add(CleanOutInput, record_clean_out, CleanOutOutput)


class AnalysisViewSet(ListViewSet[ManureAnalysis]):
    """Manure analyses."""

    queryset = ManureAnalysis.objects.select_related("by")
    serializer_class = AnalysisOutput
    roles = {"create": LEADS}

    @extend_schema(request=AnalysisInput, responses={201: AnalysisOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Add a sheet; what was applied before keeps the one it was reckoned by."""

        def do() -> Response:
            said = self.said(AnalysisInput)
            contents = {name: said.pop(name) for name in CONTENTS}
            sheet = record_analysis(basin_id=said.pop("basin"), contents=contents, **said)
            return Response(self.shown(sheet), status=201)

        return self.once(do)


class FieldViewSet(ListViewSet[CropField]):
    """Fields in use that take manure."""

    queryset = CropField.objects.filter(retired_at=None)
    serializer_class = FieldOutput


class ApplicationViewSet(ListViewSet[FieldApplication]):
    """What fields were given."""

    queryset = FieldApplication.objects.select_related("by")
    serializer_class = ApplicationOutput
    roles = {"create": LEADS}

    @extend_schema(request=ApplicationInput, responses={201: ApplicationOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Add what was brought to a field."""

        def do() -> Response:
            said = self.said(ApplicationInput)
            keys = {f"{name}_id": said.pop(name) for name in ("field", "basin")}
            return Response(self.shown(record_application(**keys, **said)), status=201)

        return self.once(do)


urlpatterns = site_routes(
    {
        "basins": BasinViewSet,
        "crop-fields": FieldViewSet,
        "manure-analyses": AnalysisViewSet,
        "field-applications": ApplicationViewSet,
    }
)
