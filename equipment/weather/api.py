"""The API of the weather: days as recorded, as foretold, and how good that was."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from equipment.site.calc.heat_rest import HeatCode
from equipment.site.calc.local_time import local_date_of
from equipment.site.preconditions import answer_tagged, etag_of_data
from equipment.site.rest import ListViewSet, ReadViewSet, site_routes
from equipment.site.restfields import FiniteField, KeyField, SaidInput

from .calc.cow_heat import ThiBand, ThiFormula
from .forecasts import ToldDay, foretell_day
from .heat import heat_of_day
from .models import DayForecast, WeatherDay, WeekForecast, WeekScore


class WeatherDayOutput(serializers.ModelSerializer[WeatherDay]):
    """One local day at a station; `et0_method` says what the reference ET rests on.

    `et0_estimated` names the inputs that nobody measured, of solar, humidity and wind.
    """

    class Meta:
        model = WeatherDay
        exclude = ["site"]


class WeatherDayQuery(serializers.Serializer[Any]):
    """Which days."""

    from_on = serializers.DateField(required=False)
    until_on = serializers.DateField(required=False, help_text="The day after the last.")
    station = KeyField(required=False)


class RestOutput(serializers.Serializer[Any]):
    """What the table says of an hour's work; null minutes with `caution`: a lead decides."""

    code = serializers.ChoiceField(choices=[code.value for code in HeatCode])
    rest_min_per_h = serializers.IntegerField(allow_null=True)


class HeatOutput(serializers.Serializer[Any]):
    """Heat of today's hottest hour in full sun. Guidance: local law governs.

    Without weather of the last days all is null.
    """

    on = serializers.DateField()
    source = serializers.CharField(  # type: ignore[assignment]
        help_text="Who foretold it; empty where it was recorded."
    )
    tmax_degc = serializers.FloatField()
    rh_frac = serializers.FloatField()
    is_rh_estimated = serializers.BooleanField()
    heat_index_degc = serializers.FloatField()
    rests = serializers.DictField(child=RestOutput(), help_text="By effort.")
    thi = serializers.FloatField()
    thi_formula = serializers.ChoiceField(choices=[formula.value for formula in ThiFormula])
    thi_band = serializers.ChoiceField(choices=[band.value for band in ThiBand])


class HeatTodayOutput(serializers.Serializer[Any]):
    """Today's heat, null without weather."""

    heat = HeatOutput(allow_null=True)


class WeatherDayViewSet(ReadViewSet[WeatherDay]):
    """Recorded days."""

    queryset = WeatherDay.objects.all()
    serializer_class = WeatherDayOutput
    query = WeatherDayQuery
    lookups = {"from_on": "on__gte", "until_on": "on__lt", "station": "station_id"}

    @extend_schema(responses=HeatTodayOutput)
    @action(detail=False)
    def heat(self, request: Request, slug: str) -> Response:
        """Tell how hot today is for people and cows."""
        today = local_date_of(self.now, self.caller.site.zone)
        found = heat_of_day(self.caller.site.pk, today)
        data = HeatTodayOutput({"heat": found}).data
        return answer_tagged(request, data, etag_of_data(data))


class DayForecastOutput(serializers.ModelSerializer[DayForecast]):
    """What was foretold of a coming day; the one made last counts."""

    class Meta:
        model = DayForecast
        exclude = ["site"]


class DayForecastInput(SaidInput):
    """A coming day; without `et0_mm` it is reckoned from the temperatures, and named so."""

    on = serializers.DateField()
    tmin_degc = FiniteField()
    tmax_degc = FiniteField()
    rain_chance_frac = FiniteField(min_value=0, max_value=1)
    rain_mm = FiniteField(min_value=0, help_text="Mean of the day if it rains.")
    et0_mm = FiniteField(min_value=0, required=False)
    et0_sd_mm = FiniteField(min_value=0, required=False)
    source = serializers.CharField(max_length=60)  # type: ignore[assignment]


class DayForecastQuery(serializers.Serializer[Any]):
    """Which days."""

    from_on = serializers.DateField(required=False)
    until_on = serializers.DateField(required=False, help_text="The day after the last.")


class DayForecastViewSet(ReadViewSet[DayForecast]):
    """Forecasts of coming days, as a person or a program told them."""

    queryset = DayForecast.objects.all()
    serializer_class = DayForecastOutput
    made_at = {"create": "api-weather-forecasts-detail"}
    query = DayForecastQuery
    lookups = {"from_on": "on__gte", "until_on": "on__lt"}

    @extend_schema(request=DayForecastInput, responses={201: DayForecastOutput})
    def create(self, request: Request, slug: str) -> Response:
        """Foretell a day; drying forecasts follow."""

        def tell() -> Response:
            said = self.read(DayForecastInput)
            source, at = said.pop("source"), said.pop("at")
            forecast = foretell_day(
                site_id=self.caller.site.pk, told=ToldDay(**said), source=source, at=at
            )
            return Response(self.shown(forecast), status=201)

        return self.once(tell)


class WeekScoreOutput(serializers.ModelSerializer[WeekScore]):
    """How good a forecast of a sum was; `climate_crps_mm` is that of past years alone."""

    class Meta:
        model = WeekScore
        exclude = ["site", "forecast"]


class WeekForecastOutput(serializers.ModelSerializer[WeekForecast]):
    """Sums of rain and ET0 foretold for a week, as equally likely members, and their scores."""

    scores = WeekScoreOutput(many=True, read_only=True)

    class Meta:
        model = WeekForecast
        exclude = ["site"]


class WeekForecastViewSet(ListViewSet[WeekForecast]):
    """Forecasts of the week ahead, one a day."""

    queryset = WeekForecast.objects.prefetch_related("scores")
    serializer_class = WeekForecastOutput
    stamps = ("changed_at", "scores__changed_at")


urlpatterns = site_routes(
    {
        "weather-days": WeatherDayViewSet,
        "weather-forecasts": DayForecastViewSet,
        "week-forecasts": WeekForecastViewSet,
    }
)
