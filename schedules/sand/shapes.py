"""How the API of the sand loop shows a batch, its tests and its forecast."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from equipment.site.restfields import PlaceRef, WhoField

from .models import DryForecast, MoistureEstimate, MoistureTest, Stage


class MoistureEstimateOutput(serializers.Serializer[MoistureEstimate]):
    """Mean moisture of the layer expected by the end of a day; reckoned, not measured."""

    on = serializers.DateField()
    low_wb_frac = serializers.FloatField(help_text="One in ten is below.")
    likely_wb_frac = serializers.FloatField()
    high_wb_frac = serializers.FloatField(help_text="One in ten is above.")


class DryOptionOutput(serializers.Serializer[dict[str, Any]]):
    """What would dry the batch sooner, on the same weather, sand and tests."""

    code = serializers.ChoiceField(choices=["one_more_turn", "thinner"])
    turns_d = serializers.IntegerField(help_text="Turns a day from now on.")
    thickness_m = serializers.FloatField(help_text="Of the layer, had it been spread so.")
    dry_on = serializers.ListField(
        child=serializers.CharField(allow_blank=True),
        help_text="Days of which one in ten, half, nine in ten are no later; blank is beyond.",
    )
    saved_d = serializers.ListField(
        child=serializers.IntegerField(), help_text="Days sooner: one in ten less, half, nine."
    )


class ForecastOutput(serializers.ModelSerializer[DryForecast]):
    """When a batch on a pad is expected dry and its pile ready; one in ten is before p10."""

    n_days_filled = serializers.IntegerField(
        read_only=True, help_text="Days without recorded weather; past years stand in for them."
    )
    moisture = MoistureEstimateOutput(read_only=True, allow_null=True)
    options = DryOptionOutput(many=True, read_only=True, source="detail.options", default=[])
    rate_frac = serializers.ListField(
        child=serializers.FloatField(),
        read_only=True,
        source="detail.rate_frac",
        default=[],
        help_text="Evaporation of the bay over the farm's own figure: 10 %, median, 90 %.",
    )
    n_rate_batches = serializers.IntegerField(
        read_only=True,
        source="detail.n_rate_batches",
        default=0,
        help_text="Past batches of the bay that told of its rate.",
    )

    class Meta:
        model = DryForecast
        exclude = ["site", "id", "batch", "detail"]


class MoistureTestOutput(serializers.ModelSerializer[MoistureTest]):
    """A measured moisture, kept wet basis with the basis it came in."""

    by = WhoField()

    class Meta:
        model = MoistureTest
        exclude = ["site", "event"]


class BatchOutput(serializers.Serializer[Any]):
    """Sand followed by dry mass, a place and its stage."""

    id = serializers.IntegerField(source="batch.pk")
    number = serializers.IntegerField(source="batch.number")
    stage = serializers.ChoiceField(source="batch.stage", choices=Stage.choices)
    place = PlaceRef(source="batch.place", allow_null=True)
    is_bought = serializers.BooleanField(source="batch.is_bought")
    is_held = serializers.BooleanField()
    dry_kg = serializers.FloatField()
    moisture_wb_frac = serializers.FloatField(source="batch.moisture_wb_frac")
    opened_at = serializers.DateTimeField(source="batch.opened_at")
    closed_at = serializers.DateTimeField(source="batch.closed_at", allow_null=True)
    stage_since = serializers.DateTimeField(source="batch.stage_since")
    cure_d = serializers.IntegerField(source="batch.cure_d")
    ready_on = serializers.DateField(source="batch.ready_on", allow_null=True)
    released_at = serializers.DateTimeField(source="batch.released_at", allow_null=True)
    ended_at = serializers.DateTimeField(source="batch.ended_at", allow_null=True)
    n_turns = serializers.IntegerField()
    last_test = MoistureTestOutput(allow_null=True)
    forecast = ForecastOutput(allow_null=True)
