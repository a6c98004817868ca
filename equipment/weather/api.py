"""The API of the weather: days as they were recorded."""

from typing import Any

from rest_framework import serializers

from equipment.site.rest import ReadViewSet, site_routes
from equipment.site.restfields import KeyField

from .models import WeatherDay


class WeatherDayOutput(serializers.ModelSerializer[WeatherDay]):
    """One local day at a station; `et0_method` says what the reference ET rests on."""

    class Meta:
        model = WeatherDay
        exclude = ["site"]


class WeatherDayQuery(serializers.Serializer[Any]):
    """Which days."""

    from_on = serializers.DateField(required=False)
    until_on = serializers.DateField(required=False, help_text="The day after the last.")
    station = KeyField(required=False)


class WeatherDayViewSet(ReadViewSet[WeatherDay]):
    """Recorded days."""

    queryset = WeatherDay.objects.all()
    serializer_class = WeatherDayOutput
    query = WeatherDayQuery
    lookups = {"from_on": "on__gte", "until_on": "on__lt", "station": "station_id"}


urlpatterns = site_routes({"weather-days": WeatherDayViewSet})
