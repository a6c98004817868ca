"""The API of the lanes and the water: recovery, what a lane should catch, the week's balance."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.sandyard.models import Lane
from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import SiteViewSet
from equipment.site.restfields import PlaceRef

from .flush_balance import WaterWeek, water_week
from .lane_capture import LaneCapture, lane_captures
from .recovery import recovery_of


class RecoveryOutput(serializers.Serializer[Any]):
    """Share of bedded sand that lanes give back; `n` weeks of loads, 0 for the farm's setting."""

    frac = serializers.FloatField()
    sd_frac = serializers.FloatField()
    spread_frac = serializers.FloatField()
    n = serializers.IntegerField()
    is_measured = serializers.BooleanField()


class GrainOutput(serializers.Serializer[Any]):
    """One class of grains in the ideal basin."""

    grain_m = serializers.FloatField()
    share_frac = serializers.FloatField()
    captured_frac = serializers.FloatField()
    is_scoured = serializers.BooleanField()


class LaneCaptureOutput(serializers.Serializer[LaneCapture]):
    """What a lane should catch: for ranking and trend only, never for mass."""

    lane = PlaceRef(source="lane.place")
    flow_m3_s = serializers.FloatField(source="flow.flow_m3_s")
    velocity_m_s = serializers.FloatField(source="flow.velocity_m_s")
    settles_frac = serializers.FloatField(source="caught.total_frac")
    kept_frac = serializers.FloatField(source="caught.kept_frac")
    settles_at_5_degc_frac = serializers.FloatField(source="cold.total_frac")
    settles_at_25_degc_frac = serializers.FloatField(source="warm.total_frac")
    grains = serializers.SerializerMethodField()

    @extend_schema(responses=GrainOutput(many=True))
    def get_grains(self, found: LaneCapture) -> list[dict[str, float | bool]]:
        """Each class, the coarsest first."""
        caught = found.caught
        rows = zip(
            caught.grain_m, caught.share_frac, caught.captured_frac, caught.is_scoured, strict=True
        )
        return [
            {
                "grain_m": float(grain_m),
                "share_frac": float(share),
                "captured_frac": float(captured),
                "is_scoured": bool(scoured),
            }
            for grain_m, share, captured, scoured in rows
        ]


class LanesOutput(serializers.Serializer[Any]):
    """The lanes of a farm."""

    recovery = RecoveryOutput()
    lanes = LaneCaptureOutput(many=True)


class WaterBalanceOutput(serializers.Serializer[Any]):
    """A day of flush water, or their sum; `rest_m3` is zero but for rounding."""

    start_m3 = serializers.FloatField()
    flush_m3 = serializers.FloatField()
    return_m3 = serializers.FloatField()
    sand_m3 = serializers.FloatField()
    solids_m3 = serializers.FloatField()
    evaporation_m3 = serializers.FloatField()
    rain_m3 = serializers.FloatField()
    fresh_m3 = serializers.FloatField()
    spilled_m3 = serializers.FloatField()
    short_m3 = serializers.FloatField()
    end_m3 = serializers.FloatField()
    rest_m3 = serializers.FloatField()


class WaterWeekOutput(serializers.Serializer[WaterWeek]):
    """The coming seven days; rain and evaporation are the mean of `n_days` recorded days."""

    days = WaterBalanceOutput(many=True)
    total = WaterBalanceOutput()
    n_days = serializers.IntegerField()


class LaneViewSet(SiteViewSet[Lane]):
    """Lanes and the water that runs through them."""

    queryset = Lane.objects.all()
    tagged = ("recovery", "week")

    @extend_schema(responses=LanesOutput)
    def recovery(self, request: Request, slug: str) -> Response:
        """Say what the lanes give back as measured, and what each should catch."""
        site_id = self.caller.site.pk
        found = {"recovery": recovery_of(site_id, self.now), "lanes": lane_captures(site_id)}
        data = LanesOutput(found, context=self.get_serializer_context()).data
        return answer_tagged(request, data, etag_of_data(data))

    @extend_schema(responses=WaterWeekOutput)
    def week(self, request: Request, slug: str) -> Response:
        """Balance the flush water of the coming seven days."""
        data = WaterWeekOutput(water_week(self.caller.site.pk, self.now)).data
        return answer_tagged(request, data, etag_of_data(data))


urlpatterns = [
    path(
        "sites/<slug:slug>/sand-recovery/",
        LaneViewSet.as_view({"get": "recovery"}),
        name="api-sand-recovery",
    ),
    path(
        "sites/<slug:slug>/water-balance/",
        LaneViewSet.as_view({"get": "week"}),
        name="api-water-balance",
    ),
]
